"""Processes that run together: started in order, watched, stopped in reverse order, none left behind.

Standard library only, because it runs before anything is installed.
"""

from __future__ import annotations

import contextlib
import ctypes
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

STOP_WITHIN_S = 15.0
LONGEST_PAUSE_S = 60.0
STEADY_AFTER_S = 60.0
PR_SET_PDEATHSIG = 1


def die_with_parent() -> None:
    """On Linux: the child gets SIGTERM when the parent is killed outright."""
    if sys.platform.startswith("linux"):
        ctypes.CDLL(None, use_errno=True).prctl(PR_SET_PDEATHSIG, signal.SIGTERM)


@dataclass
class Child:
    """One process of the site."""

    name: str
    command: Sequence[str]
    process: subprocess.Popen[bytes] | None = None
    started_at: float = 0.0
    pause_s: float = 1.0
    start_again_at: float = 0.0

    def start(self, *, cwd: Path, env: Mapping[str, str]) -> None:
        self.process = subprocess.Popen(
            list(self.command),
            cwd=cwd,
            env=dict(env),
            stdin=subprocess.DEVNULL,
            start_new_session=True,
            preexec_fn=die_with_parent if os.name == "posix" else None,
        )
        self.started_at = time.monotonic()
        self.start_again_at = 0.0

    @property
    def is_running(self) -> bool:
        return self.process is not None and self.process.poll() is None

    @property
    def code(self) -> int | None:
        """How it ended; None while it runs."""
        return self.process.poll() if self.process is not None else None

    def ask_to_stop(self) -> None:
        if self.is_running and self.process is not None:
            self.process.terminate()

    def kill_rest(self) -> None:
        """End what a process that ended has left behind: its group, which is named after it."""
        if self.process is not None and not self.is_running:
            with contextlib.suppress(AttributeError, OSError):
                os.killpg(self.process.pid, signal.SIGKILL)

    def kill(self) -> None:
        if self.is_running and self.process is not None:
            try:
                os.killpg(self.process.pid, signal.SIGKILL)
            except (AttributeError, OSError):
                self.process.kill()
            self.process.wait(timeout=5)


@dataclass
class Children:
    """All of them."""

    cwd: Path
    env: Mapping[str, str]
    say: Callable[[str], None] = print
    all: list[Child] = field(default_factory=list)

    def start(self, name: str, command: Sequence[str]) -> Child:
        child = Child(name, command)
        child.start(cwd=self.cwd, env=self.env)
        self.all.append(child)
        return child

    def look_after(self) -> None:
        """Start again what died, after a pause that grows while it keeps dying."""
        now = time.monotonic()
        for child in self.all:
            if child.is_running:
                if now - child.started_at > STEADY_AFTER_S:
                    child.pause_s = 1.0
            elif not child.start_again_at:
                # A server that was killed may leave processes of its own, which would go on answering beside the new.
                child.kill_rest()
                self.say(
                    f"The {child.name} ended by itself (code {child.code}); starting it again in {child.pause_s:.0f} s."
                )
                child.start_again_at = now + child.pause_s
                child.pause_s = min(child.pause_s * 2, LONGEST_PAUSE_S)
            elif now >= child.start_again_at:
                child.start(cwd=self.cwd, env=self.env)

    def kill(self) -> None:
        for child in self.all:
            child.kill()

    def stop(self) -> None:
        """Ask each in reverse order, wait for all together, kill what stays."""
        for child in reversed(self.all):
            child.ask_to_stop()
        until = time.monotonic() + STOP_WITHIN_S
        for child in reversed(self.all):
            while child.is_running and time.monotonic() < until:
                time.sleep(0.05)
            child.kill()
            child.kill_rest()

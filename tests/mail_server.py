"""A mail server on a real socket (RFC 5321) that takes mails, or behaves as badly as a test wants.

A library would keep to the rules; this one has to break them: hang up in the middle, be silent, be away.
"""

from __future__ import annotations

import email
import email.policy
import socketserver
import threading
from email.message import EmailMessage
from enum import StrEnum
from typing import Any

from tests.servers import GIVE_UP_AFTER_S


class Mood(StrEnum):
    TAKES = "takes"
    BUSY_AT_THE_DOOR = "421 at the door"
    REFUSES_RECIPIENT = "550 for the recipient"
    BUSY_FOR_RECIPIENT = "451 for the recipient"
    HANGS_UP_IN_DATA = "hangs up half-way through the mail"
    HANGS_UP_AFTER_DATA = "has the mail and hangs up before it says so"
    IS_SILENT = "takes the connection and says nothing"


class MailServer:
    """Runs from its making to `stop`; it may be stopped and started again on the same port."""

    def __init__(self) -> None:
        self.mood = Mood.TAKES
        self.mails: list[EmailMessage] = []
        self.n_connections = 0
        self.is_over = threading.Event()
        self.port = 0
        self.start()

    def start(self) -> None:
        server = self

        class Handler(socketserver.StreamRequestHandler):
            def handle(self) -> None:
                server.n_connections += 1
                server.talk(self.rfile, self.wfile)

        socketserver.ThreadingTCPServer.allow_reuse_address = True
        self.tcp = socketserver.ThreadingTCPServer(("127.0.0.1", self.port), Handler)
        self.tcp.daemon_threads = True
        self.port = int(self.tcp.server_address[1])
        threading.Thread(target=self.tcp.serve_forever, daemon=True, kwargs={"poll_interval": 0.02}).start()

    def stop(self) -> None:
        self.tcp.shutdown()
        self.tcp.server_close()

    def end(self) -> None:
        self.is_over.set()
        self.stop()

    def talk(self, lines: Any, out: Any) -> None:
        """One connection, from the greeting to the end."""

        def say(words: str) -> None:
            out.write(f"{words}\r\n".encode())

        if self.mood == Mood.IS_SILENT:
            self.is_over.wait(GIVE_UP_AFTER_S)
            return
        if self.mood == Mood.BUSY_AT_THE_DOOR:
            say("421 too busy")
            return
        say("220 mail.alder.example")
        while line := lines.readline():
            verb = line.decode().split(" ")[0].strip().upper()
            if verb == "QUIT":
                say("221 bye")
                return
            if verb == "DATA":
                say("354 go on")
                if not self.take(lines):
                    return
                say("250 taken")
            elif verb == "RCPT" and self.mood == Mood.REFUSES_RECIPIENT:
                say("550 no such user")
            elif verb == "RCPT" and self.mood == Mood.BUSY_FOR_RECIPIENT:
                say("451 try again later")
            else:
                say("250 well")

    def take(self, lines: Any) -> bool:
        """Whether the mail is taken; where not, the connection ends without a word."""
        if self.mood == Mood.HANGS_UP_IN_DATA:
            lines.readline()
            return False
        content = b""
        while (line := lines.readline()) not in (b".\r\n", b""):
            content += line.removeprefix(b".") if line.startswith(b"..") else line
        mail: Any = email.message_from_bytes(content, policy=email.policy.default)
        self.mails.append(mail)
        return self.mood != Mood.HANGS_UP_AFTER_DATA

"""What the process that serves pages has at hand before the first of them is asked for."""

from __future__ import annotations

import os
import re
import subprocess
import sys

from deploy.environment import ROOT

APPS = ("plant", "installs", "inspections", "reports")


def test_the_first_page_does_not_wait_for_libraries(tmp_path):
    """scipy brings its parts by name: every part that a calculation names is there when the doors open."""
    sources = [path.read_text() for app in APPS for path in (ROOT / app).rglob("*.py")]
    named = {name for text in sources for name in re.findall(r"\bscipy\.([a-z]+)\b", text)} - {"org"}
    assert {"stats", "optimize"} <= named
    asked = "import sys, deploy.wsgi; print(*(name for name in sys.modules if name.startswith(('scipy.', 'plotly.'))))"
    brought = subprocess.run(
        [sys.executable, "-c", asked],
        cwd=ROOT,
        env={**os.environ, "DRIFTBOOK_DATA": str(tmp_path), "DJANGO_SETTINGS_MODULE": "deploy.settings"},
        capture_output=True,
        text=True,
        check=True,
    ).stdout.split()
    assert {f"scipy.{name}" for name in named} - set(brought) == set()
    assert "plotly.graph_objs._bar" in brought


def test_no_process_begins_with_what_few_of_them_need(tmp_path):
    """Each command, worker and server waits for whatever is brought when it starts."""
    few = ("pandas", "pyarrow", "pint", "statsmodels", "pyvrp")
    asked = f"import sys, django; django.setup(); print(*(name for name in {few} if name in sys.modules))"
    brought = subprocess.run(
        [sys.executable, "-c", asked],
        cwd=ROOT,
        env={**os.environ, "DRIFTBOOK_DATA": str(tmp_path), "DJANGO_SETTINGS_MODULE": "deploy.settings"},
        capture_output=True,
        text=True,
        check=True,
    ).stdout.split()
    assert brought == []

"""Settings and one address more of a site whose pages take as long as a test wants."""

from __future__ import annotations

import os
import uuid
from pathlib import Path

from deploy.settings import *  # noqa: F403

ROOT_URLCONF = "tests.deploy.crowded_urls"
HELD, OPEN = Path(os.environ["TEST_FOLDER"]) / "held", Path(os.environ["TEST_FOLDER"]) / "open"


def note_held() -> None:
    (HELD / uuid.uuid4().hex).touch()

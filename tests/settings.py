"""The site's settings with a data folder and a day of the test run, plain static files and a fast password hash."""

import atexit
import os
import shutil
import tempfile
from pathlib import Path

from tests import clock

if "DRIFTBOOK_DATA" not in os.environ:
    # Processes of the same run (pytest -n) share the folder of the first, which takes it away at its end.
    os.environ["DRIFTBOOK_DATA"] = tempfile.mkdtemp(prefix="driftbook-tests-")
    clock.mark(Path(os.environ["DRIFTBOOK_DATA"]))
    atexit.register(shutil.rmtree, os.environ["DRIFTBOOK_DATA"], ignore_errors=True)
os.environ.setdefault("DRIFTBOOK_SECRET_KEY", "only-for-tests-" + "x" * 50)
clock.start()

from deploy.settings import *  # noqa: E402, F403

STORAGES = {
    "default": {"BACKEND": "deploy.storage.WholeFiles"},
    "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"},
}
PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
EMAIL_BACKEND = "django.core.mail.backends.locmem.EmailBackend"
ALLOWED_HOSTS = ["testserver", "localhost", "127.0.0.1"]
AXES_ENABLED = False
# The suite may run in an empty clone: do not look for collected static files.
WHITENOISE_AUTOREFRESH = True
# A slow machine turns nobody away.
LONGEST_WAIT_S = 3600
# Tests do jobs by themselves; those of the real worker start one.
SEND_NUDGES = False
if "pool" in DATABASES["default"].get("OPTIONS", {}):  # noqa: F405
    # A pool would keep connections to a data base that the run drops at its end.
    del DATABASES["default"]["OPTIONS"]["pool"]  # noqa: F405

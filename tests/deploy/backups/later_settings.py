"""The site's settings as of a later version that has one app more; DRIFTBOOK_TEST_STEPS says how its steps go."""

import os

from tests.settings import *  # noqa: F403

INSTALLED_APPS = [*INSTALLED_APPS, "tests.deploy.backups.later"]  # noqa: F405
MIGRATION_MODULES = {"later": f"tests.deploy.backups.later.{os.environ['DRIFTBOOK_TEST_STEPS']}"}

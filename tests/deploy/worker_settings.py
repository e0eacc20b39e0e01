"""Settings of a real worker in tests: those of a whole site, with a job kind that tests can kill."""

from tests.site_settings import *  # noqa: F403

INSTALLED_APPS = [*INSTALLED_APPS, "tests.deploy.worker_app.WorkerApp"]  # noqa: F405

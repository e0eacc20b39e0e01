"""Settings of a real worker in tests: the site's own, with a job kind that tests can kill."""

from deploy.settings import *  # noqa: F403

INSTALLED_APPS = [*INSTALLED_APPS, "tests.deploy.worker_app.WorkerApp"]  # noqa: F405

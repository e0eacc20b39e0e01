"""Settings of a whole site that a test starts (web server, manage.py): the site's own, on the suite's day."""

from tests import clock

clock.start()

from deploy.settings import *  # noqa: E402, F403

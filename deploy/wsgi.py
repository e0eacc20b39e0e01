"""Entry point of the WSGI server."""

import os

# The server's threads have a small stack. A linear algebra that spreads over many cores overruns it and takes the whole
# worker down; one core is enough for what a page computes. Set before anything imports NumPy.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ.setdefault("OMP_NUM_THREADS", "1")

# SciPy and plotly bring their parts when they are first used: nearly a second, which whoever came first would wait for.
import scipy.integrate
import scipy.optimize
import scipy.special
import scipy.stats  # noqa: F401
from django.core.wsgi import get_wsgi_application
from plotly.graph_objects import Bar, Figure, Scatter  # noqa: F401

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "deploy.settings")
application = get_wsgi_application()

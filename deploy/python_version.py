"""Go on with a Python that is new enough. Python 2 can read this file and the scripts that import it: no newer syntax,
no name that it lacks."""

import os
import subprocess
import sys

LEAST = (3, 11)


def on_the_path(name):  # type: (str) -> str | None
    """Path of a program; None if there is none."""
    for folder in os.environ.get("PATH", "").split(os.pathsep):
        path = os.path.join(folder, name)
        if folder and os.path.isfile(path) and os.access(path, os.X_OK):
            return path
    return None


def newer_python():  # type: () -> str | None
    """Path of the newest Python on the PATH that is new enough and runs; None if there is none."""
    for minor in range(20, LEAST[1] - 1, -1):
        path = on_the_path("python{}.{}".format(LEAST[0], minor))  # noqa: UP032
        # A name on the PATH may be a stand-in of a version manager with nothing behind it.
        if path and runs(path):
            return path
    return None


def runs(path):  # type: (str) -> bool
    with open(os.devnull, "w") as nothing:
        return subprocess.call([path, "-c", ""], stdout=nothing, stderr=nothing) == 0


def check_python(script):  # type: (str) -> None
    """Hand over to a newer Python where this one is too old; say which one is needed where there is none."""
    if sys.version_info >= LEAST:
        return
    newer = newer_python()
    if newer:
        os.execv(newer, [newer, script] + sys.argv[1:])  # noqa: RUF005
    sys.stderr.write(
        "Python {}.{} or later is needed; this is {}.{}. Install one and run the command again.\n".format(  # noqa: UP032
            LEAST[0], LEAST[1], sys.version_info[0], sys.version_info[1]
        )
    )
    sys.exit(2)

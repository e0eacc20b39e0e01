"""Go on with a Python that is new enough. Written so that an old one can read it: no newer syntax here."""

import os
import shutil
import subprocess
import sys

LEAST = (3, 11)


def newer_python():
    """Path of the newest Python on the PATH that is new enough and runs; None if there is none."""
    for minor in range(20, LEAST[1] - 1, -1):
        path = shutil.which(f"python{LEAST[0]}.{minor}")
        # A name on the PATH may be a stand-in of a version manager with nothing behind it.
        if path and subprocess.call([path, "-c", ""], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) == 0:
            return path
    return None


def check_python(script):
    """Hand over to a newer Python where this one is too old; say which one is needed where there is none."""
    if sys.version_info >= LEAST:
        return
    newer = newer_python()
    if newer:
        os.execv(newer, [newer, script, *sys.argv[1:]])
    sys.stderr.write(
        "Python {}.{} or later is needed; this is {}.{}. Install one and run the command again.\n".format(
            *LEAST, *sys.version_info[:2]
        )
    )
    sys.exit(2)

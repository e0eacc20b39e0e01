"""Which version of the site this is."""

from __future__ import annotations

import tomllib
from functools import cache

from deploy.environment import ROOT


@cache
def version() -> str:
    with (ROOT / "pyproject.toml").open("rb") as file:
        return str(tomllib.load(file)["project"]["version"])

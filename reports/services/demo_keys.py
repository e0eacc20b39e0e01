"""Keys of the demo plant: the same thing has the same key at each load, so that a second one writes nothing."""

from __future__ import annotations

import uuid

NAMESPACE = uuid.UUID("6c0b2c1e-0d55-4c1c-9a52-5f0a0b7c3a11")


def key_of(*parts: object) -> uuid.UUID:
    """The key of what these words name."""
    return uuid.uuid5(NAMESPACE, "|".join(str(part) for part in parts))

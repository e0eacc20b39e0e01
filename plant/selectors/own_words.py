"""What the plant's own words stand for in its files."""

from __future__ import annotations

from collections.abc import Iterable

from plant.models import Conveyor, Plant, PlantWord


def own_words_of(plant: Plant, abouts: Iterable[str]) -> dict[str, dict[str, str]]:
    """By where they stand and by key: the code, field or tag that each word stands for."""
    found: dict[str, dict[str, str]] = {}
    rows = PlantWord.objects.of_plant(plant).filter(about__in=list(abouts)).select_related("conveyor")
    for each in rows:
        found.setdefault(each.about, {})[each.word_key] = each.stands_for
    return found


def tags_of(plant: Plant) -> dict[str, str]:
    """The tags of the plant's conveyors by their key."""
    return dict(Conveyor.objects.of_plant(plant).values_list("tag_key", "tag"))

"""The worst grade of each device on the strip of its belt."""

from __future__ import annotations

from typing import Any

from inspections.calc.grading import Grade
from inspections.selectors.tasks import states_for
from inspections.words.tasks import grade_words
from installs.models import Installation
from plant.charts.strip import StripLayer
from plant.permissions import has_right
from plant.selectors.strip import StripSubject

# A sound device is drawn in ink, so that colour is left for those that want something.
TONES = {Grade.SOUND.value: "ink", Grade.WATCH.value: "watch", Grade.ACT.value: "act"}


def grade_layers(request: Any, subject: StripSubject) -> dict[int, StripLayer]:
    """The worst grade of each device in place, with the words of every check that was graded."""
    # All belts of a page are of one plant.
    if not subject.conveyors or not has_right(request.user, "inspections.view_task", subject.conveyors[0].plant):
        return {}
    belts = subject.conveyors
    standing = list(Installation.objects.in_place_at(subject.until).filter(conveyor__in=belts))
    states = states_for(request, standing)
    grades: dict[int, dict[int, tuple[str, str]]] = {belt.pk: {} for belt in belts}
    for each in standing:
        graded = [state for state in states[each.pk] if state.grade]
        if graded:
            worst = max((TONES[state.grade_since] for state in graded), key=list(TONES.values()).index)
            words = ", ".join(grade_words(state) for state in graded)
            grades[each.conveyor_id][each.pk] = (worst, words)
    return {pk: StripLayer(grades=found) for pk, found in grades.items()}

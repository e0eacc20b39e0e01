"""What this app adds to the strip of a conveyor: devices in place, where they steer, what none of them reaches."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.utils.translation import gettext as _

from installs.calc.effect_zones import Zone, overlaps, stretch_with_most
from installs.models import Installation
from installs.selectors.installations import zones_of
from installs.words.placement import stretch_words
from installs.words.strip import device_words, reach_sentences
from plant.calc.strip_shapes import StripDevice, StripStretch
from plant.calc.units import UnitSystem
from plant.charts.strip import StripLayer, StripRow
from plant.models import Conveyor, Strand
from plant.selectors.incidents import IncidentPlace
from plant.words.places import place_words

# An uncovered stretch is drawn and named when it holds so many incidents and such a share of the belt's; all stand in
# the table. Common practice of drawing: more bands than these hide the ones that matter.
LEAST_INCIDENTS = 2
LEAST_SHARE = 0.2


def layer_of(
    belt: Conveyor, standing: Sequence[Installation], incidents: Sequence[IncidentPlace], system: UnitSystem
) -> StripLayer:
    if not standing:
        return StripLayer(sentences=(_("No device stands on this belt."),))
    devices, zones, gaps, rows = [], [], [], []
    reached = 0
    placed = [each for each in incidents if each.strand and each.chainage_m is not None]
    for strand in Strand.values:
        here = [each for each in standing if each.strand == strand]
        if not here:
            continue
        steered = {each.pk: zones_of(each) for each in here}
        for each in here:
            name, reach = device_words(each, steered[each.pk], system)
            devices.append(
                StripDevice(
                    each.pk, strand, each.chainage_m, each.device.number, f"{name}, {reach}", each.get_absolute_url()
                )
            )
            rows.append(
                StripRow(
                    strand,
                    each.chainage_m,
                    place_words(strand, each.chainage_m, system),
                    _("Device %s") % each.device.number,
                    f"{each.device.device_model}, {reach}",
                    each.get_absolute_url(),
                )
            )
            zones += [
                StripStretch(
                    strand,
                    zone.low_m,
                    zone.high_m,
                    _("device %(number)s steers %(stretch)s")
                    % {"number": each.device.number, "stretch": stretch_words(zone, system)},
                )
                for zone in steered[each.pk]
            ]
        shared = overlap_rows(strand, here, steered, system)
        rows += [row for row, _stretch in shared]
        zones += [stretch for _row, stretch in shared]
        found, listed, n_inside = uncovered_of(belt, strand, steered.values(), incidents, system)
        gaps += found
        rows += listed
        reached += n_inside
    return StripLayer(
        devices=tuple(devices),
        zones=tuple(zones),
        gaps=tuple(gaps),
        sentences=reach_sentences(len(incidents), len(placed) - reached),
        rows=tuple(rows),
    )


def overlap_rows(
    strand: str, here: Sequence[Installation], steered: dict[int, tuple[Zone, ...]], system: UnitSystem
) -> list[tuple[StripRow, StripStretch]]:
    """Stretches that two devices share, as lines of the table and as shapes; on a reversing belt a device has two
    zones, which count as its own.
    """
    owners = [(each, zone) for each in here for zone in steered[each.pk]]
    rows = []
    for shared in overlaps([zone for _each, zone in owners]):
        first, second = owners[shared.first][0], owners[shared.second][0]
        if first.pk != second.pk:
            words = _("devices %(first)s and %(second)s both steer here; their effect is judged as one") % {
                "first": first.device.number,
                "second": second.device.number,
            }
            where = f"{place_words(strand, None, system)}, {stretch_words(shared.zone, system)}"
            rows.append(
                (
                    StripRow(strand, shared.zone.low_m, where, _("Zones overlap"), words),
                    StripStretch(strand, shared.zone.low_m, shared.zone.high_m, f"{where}: {words}", kind="overlap"),
                )
            )
    return rows


def uncovered_of(
    belt: Conveyor,
    strand: str,
    steered: Any,
    incidents: Sequence[IncidentPlace],
    system: UnitSystem,
) -> tuple[list[StripStretch], list[StripRow], int]:
    """Stretches of a strand with devices that none of them reaches, the table's lines, and how many incidents lie in
    reach.
    """
    positions = [
        float("nan") if each.chainage_m is None else each.chainage_m for each in incidents if each.strand == strand
    ]
    counts = stretch_with_most(positions, [zone for zones in steered for zone in zones], belt.length_m)
    total = len(incidents)
    gaps, rows = [], []
    for stretch in counts.stretches:
        where = stretch_words(stretch.zone, system)
        share = _("%(n)s of %(total)s incidents") % {"n": stretch.n, "total": total}
        words = _("no device reaches %(where)s: %(share)s") % {"where": where, "share": share}
        place = place_words(strand, None, system)
        rows.append(
            StripRow(strand, stretch.zone.low_m, f"{place}, {where}", _("No device reaches this stretch"), share)
        )
        if stretch.n >= LEAST_INCIDENTS and stretch.n >= LEAST_SHARE * total:
            gaps.append(StripStretch(strand, stretch.zone.low_m, stretch.zone.high_m, f"{place}: {words}", words))
    return gaps, rows, counts.n_inside

"""From drift-switch events to incidents of mistracking, and what the raw events tell before they are joined.

1. **Pair** on and off per switch. A repeated row counts once. On while on and off while off are reported and change
   nothing; a contact that is never closed ends when the belt stops.
2. **Cut** each contact to running time: a belt at rest that leans on a switch does not wander.
3. **Hold**: contacts shorter than ``hold_s`` are dropped, an equal one is kept.
4. **Join** a contact to the incident before it on the same conveyor, strand and side when it starts less than ``gap_s``
   after the *latest* end so far; a gap of exactly ``gap_s`` starts a new incident. The gap is clock time.

===================  ==========================================================
08:00:00 to 08:00:05  first incident
08:00:06 to 08:00:07  one second, shorter than the hold of 2 s: dropped
08:09:59 to 08:10:20  594 s after 08:00:05: joins; contact 26 s in all
08:20:20 to 08:20:30  600 s after 08:10:20: a second incident
===================  ==========================================================

Guarantee: the order of the events, and reading them twice, change nothing.

Two things are looked for in the raw events *before* any of this. A switch that goes on several times a minute, or very
often in a day, is a switch to be mended (`find_chatter`). But a contact that comes back once per revolution of the belt
is no defect of the switch: it is a splice or a bowed length that travels (`fold_by_revolution`). Ask for the second
before the first is acted on.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta, tzinfo
from enum import StrEnum

import numpy as np
from numpy.typing import ArrayLike, NDArray

from plant.calc.reasons import Reason

FloatArray = NDArray[np.float64]
Interval = tuple[datetime, datetime]

# Too few events to tell a rhythm from chance, and the level at which it is told.
FEWEST_TO_FOLD = 8
FOLD_LEVEL = 0.01

# Time stamps coarser than this share of a revolution blur the rhythm or feign one.
COARSEST_STAMP = 1 / 20


@dataclass(frozen=True)
class RawSwitchEvent:
    """A drift switch went on or off.

    Contacts of one conveyor, strand and side are joined; what is not told stays empty.
    """

    conveyor: str
    at: datetime
    is_on: bool
    side: str = ""
    strand: str = ""
    switch: str = ""

    def __post_init__(self) -> None:
        if self.at.tzinfo is None:
            raise ValueError(f"{self.at} has no zone; give an instant with one, such as UTC")


@dataclass(frozen=True)
class JoiningRules:
    """Start values of common practice, no source; the rule that made an incident is kept with it."""

    hold_s: float = 2.0
    gap_s: float = 600.0

    def __post_init__(self) -> None:
        if not (self.hold_s >= 0 and math.isfinite(self.hold_s)):
            raise ValueError(f"hold_s is {self.hold_s} s; give 0 or more")
        if not (self.gap_s >= 0 and math.isfinite(self.gap_s)):
            raise ValueError(f"gap_s is {self.gap_s} s; give 0 or more")


@dataclass(frozen=True)
class FoundIncident:
    """One episode in which the belt touched drift switches; ``contact_s`` counts time at two switches once."""

    conveyor: str
    strand: str
    side: str
    start: datetime
    end: datetime
    contacts: int
    contact_s: float
    switches: tuple[str, ...]
    open_at_end: bool = False


class OddKind(StrEnum):
    """Why a switch event does not pair."""

    ON_WHILE_ON = "on_while_on"
    OFF_WHILE_OFF = "off_while_off"
    NEVER_OFF = "never_off"


class FoldRule(StrEnum):
    """Why it cannot be told whether contacts come back once per revolution."""

    ONE_CONTACT = "fold.one_contact"
    FEW_CONTACTS = "fold.few_contacts"
    COARSE_TIMES = "fold.coarse_times"


@dataclass(frozen=True)
class OddEvent:
    """A switch event that does not pair."""

    conveyor: str
    side: str
    switch: str
    at: datetime
    what: OddKind


@dataclass(frozen=True)
class FoundIncidents:
    """Incidents in order of their start, events that do not pair, and the rules that made them."""

    incidents: tuple[FoundIncident, ...]
    reported: tuple[OddEvent, ...]
    rules: JoiningRules


@dataclass(frozen=True)
class ChatterDay:
    """A day on which a switch chattered; on a defect day leave it out of the incidents and of the exposure."""

    conveyor: str
    side: str
    switch: str
    day: date
    n_on: int
    n_bursts: int
    is_defect: bool


@dataclass(frozen=True)
class Fold:
    """Whether contacts come back once per revolution of the belt; None and a reason where it cannot be told.

    ``n`` counts contacts after those within half a revolution of the one before were left out. ``phase`` is where in
    the revolution they gather, counted from the first of them [share of a revolution], ``strength`` how much: 0 not at
    all, 1 all at one place.
    """

    p_value: float | None
    n: int
    flagged: bool
    phase: float | None = None
    strength: float | None = None
    reasons: tuple[Reason, ...] = ()


@dataclass(frozen=True)
class _Contact:
    start: datetime
    end: datetime
    switch: str
    is_open: bool = False


# --- incidents ------------------------------------------------------------------------------------------------------


def find_incidents(
    events: Iterable[RawSwitchEvent],
    running: Mapping[str, Sequence[Interval]],
    rules: JoiningRules | None = None,
) -> FoundIncidents:
    """Join drift-switch events to incidents.

    Parameters
    ----------
    events : iterable of RawSwitchEvent
        In any order, repeated or not.
    running : mapping of conveyor to sequence of (start, end)
        When each belt ran; intervals may overlap. A conveyor that is not in the mapping is not cut at all, because
        nothing is known; one with no intervals never ran.
    rules : JoiningRules, optional
        Hold and gap [s].

    Returns
    -------
    FoundIncidents
        incidents, reported, rules.

    Raises
    ------
    ValueError
        If an instant carries no zone.

    Examples
    --------
    >>> eight = datetime(2026, 6, 3, 8, tzinfo=UTC)
    >>> events = [RawSwitchEvent("S-12", eight, True), RawSwitchEvent("S-12", eight + timedelta(seconds=5), False)]
    >>> found = find_incidents(events, {"S-12": [(eight - timedelta(hours=2), eight + timedelta(hours=6))]})
    >>> [(i.contacts, i.contact_s) for i in found.incidents]
    [(1, 5.0)]
    """
    rules = rules or JoiningRules()
    ran = {conveyor: _union(intervals) for conveyor, intervals in running.items()}
    by_switch: dict[tuple[str, str, str, str], set[tuple[datetime, bool]]] = defaultdict(set)
    for event in events:
        by_switch[event.conveyor, event.strand, event.side, event.switch].add((event.at.astimezone(UTC), event.is_on))
    contacts: dict[tuple[str, str, str], list[_Contact]] = defaultdict(list)
    reported: list[OddEvent] = []
    for (conveyor, strand, side, switch), switched in by_switch.items():
        pairs, odd = _pair(switched, switch)
        reported += [OddEvent(conveyor, side, switch, at, what) for at, what in odd]
        for contact in pairs:
            contacts[conveyor, strand, side] += _cut(contact, ran.get(conveyor), rules.hold_s)
    incidents = [found for place, held in contacts.items() for found in _join(place, held, rules.gap_s)]
    return FoundIncidents(
        tuple(sorted(incidents, key=lambda i: (i.start, i.conveyor, i.strand, i.side))),
        tuple(sorted(reported, key=lambda o: (o.at, o.conveyor, o.side, o.switch, o.what))),
        rules,
    )


def _pair(switched: set[tuple[datetime, bool]], switch: str) -> tuple[list[_Contact], list[tuple[datetime, OddKind]]]:
    """Contacts of one switch, and the events that do not pair. A contact never closed has its start as its end."""
    contacts: list[_Contact] = []
    odd: list[tuple[datetime, OddKind]] = []
    since: datetime | None = None
    states: dict[datetime, set[bool]] = defaultdict(set)
    for at, is_on in switched:
        states[at].add(is_on)
    for at in sorted(states):
        # On and off at one instant: what was on goes off first, what was off goes on first.
        for is_on in sorted(states[at], reverse=since is None):
            if is_on and since is None:
                since = at
            elif is_on:
                odd.append((at, OddKind.ON_WHILE_ON))
            elif since is None:
                odd.append((at, OddKind.OFF_WHILE_OFF))
            else:
                contacts.append(_Contact(since, at, switch))
                since = None
    if since is not None:
        odd.append((since, OddKind.NEVER_OFF))
        contacts.append(_Contact(since, since, switch, is_open=True))
    return contacts, odd


def _cut(contact: _Contact, ran: tuple[list[datetime], list[datetime]] | None, hold_s: float) -> list[_Contact]:
    """The parts of a contact while the belt ran that are held long enough."""
    if ran is None:
        # Nobody knows when the belt stopped, so an open contact is kept as the instant at which it began.
        return [contact] if contact.is_open or _seconds(contact.start, contact.end) >= hold_s else []
    starts, ends = ran
    at = max(bisect_right(starts, contact.start) - 1, 0)
    if contact.is_open:
        if at >= len(starts) or not starts[at] <= contact.start < ends[at]:
            return []
        parts = [_Contact(contact.start, ends[at], contact.switch, is_open=True)]
    else:
        parts = []
        while at < len(starts) and starts[at] <= contact.end:
            start, end = max(starts[at], contact.start), min(ends[at], contact.end)
            if start < end or start == end == contact.start == contact.end:
                parts.append(_Contact(start, end, contact.switch))
            at += 1
    return [part for part in parts if _seconds(part.start, part.end) >= hold_s]


def _join(place: tuple[str, str, str], contacts: list[_Contact], gap_s: float) -> list[FoundIncident]:
    groups: list[list[_Contact]] = []
    latest: datetime | None = None
    for contact in sorted(contacts, key=lambda c: (c.start, c.end, c.switch)):
        # Joined to the latest end, not to the last contact: a short contact may lie inside a long one.
        if latest is not None and _seconds(latest, contact.start) < gap_s:
            groups[-1].append(contact)
            latest = max(latest, contact.end)
        else:
            groups.append([contact])
            latest = contact.end
    return [_incident(place, group) for group in groups]


def _incident(place: tuple[str, str, str], contacts: list[_Contact]) -> FoundIncident:
    conveyor, strand, side = place
    reached = contacts[0].start
    contact_s = 0.0
    for contact in contacts:
        contact_s += max(0.0, _seconds(max(contact.start, reached), contact.end))
        reached = max(reached, contact.end)
    return FoundIncident(
        conveyor=conveyor,
        strand=strand,
        side=side,
        start=contacts[0].start,
        end=reached,
        contacts=len(contacts),
        contact_s=contact_s,
        switches=tuple(dict.fromkeys(c.switch for c in contacts)),
        open_at_end=any(c.is_open for c in contacts),
    )


def _union(intervals: Sequence[Interval]) -> tuple[list[datetime], list[datetime]]:
    """Intervals in UTC, in order, touching ones joined."""
    starts: list[datetime] = []
    ends: list[datetime] = []
    for start, end in sorted((_utc(a), _utc(b)) for a, b in intervals):
        if ends and start <= ends[-1]:
            ends[-1] = max(ends[-1], end)
        elif start < end:
            starts.append(start)
            ends.append(end)
    return starts, ends


def _utc(t: datetime) -> datetime:
    if t.tzinfo is None:
        raise ValueError(f"{t} has no zone; give an instant with one, such as UTC")
    return t.astimezone(UTC)


def _seconds(a: datetime, b: datetime) -> float:
    return (b - a).total_seconds()


# --- the raw events -------------------------------------------------------------------------------------------------


def find_chatter(
    events: Iterable[RawSwitchEvent], per_minute: int = 3, per_day: int = 50, tz: tzinfo = UTC
) -> tuple[ChatterDay, ...]:
    """Days on which a switch chattered, and those on which it must be held defective.

    Parameters
    ----------
    events : iterable of RawSwitchEvent
        Raw, in any order, repeated or not.
    per_minute : int, optional
        So many times on within 60 s are a burst.
    per_day : int, optional
        More times on than this in a day are a defect of the switch, unless they come once per revolution of the belt:
        ask `fold_by_revolution` first.
    tz : tzinfo, optional
        The plant's zone, for its days.

    Returns
    -------
    tuple of ChatterDay
        Days with a burst or a defect, in order of day and switch.

    Raises
    ------
    ValueError
        If per_minute is below 2 or per_day below 1.

    References
    ----------
    Three a minute is a rule of alarm management for chattering alarms (read in articles on the subject); 50 a day is
    common practice, no source.
    """
    if per_minute < 2:
        raise ValueError(f"per_minute is {per_minute}; give 2 or more")
    if per_day < 1:
        raise ValueError(f"per_day is {per_day}; give 1 or more")
    on_times: dict[tuple[date, str, str, str], set[datetime]] = defaultdict(set)
    for event in events:
        if event.is_on:
            day = event.at.astimezone(tz).date()
            on_times[day, event.conveyor, event.side, event.switch].add(event.at.astimezone(UTC))
    found = []
    for (day, conveyor, side, switch), times in sorted(on_times.items(), key=lambda item: item[0]):
        n_bursts = _bursts(sorted(times), per_minute)
        if n_bursts or len(times) > per_day:
            found.append(ChatterDay(conveyor, side, switch, day, len(times), n_bursts, len(times) > per_day))
    return tuple(found)


def _bursts(times: list[datetime], per_minute: int) -> int:
    """How many separate times so many events fell within one minute."""
    n_bursts = 0
    reached: datetime | None = None
    for first, last in zip(times, times[per_minute - 1 :], strict=False):
        if last - first < timedelta(minutes=1):
            n_bursts += reached is None or first > reached
            reached = last
    return n_bursts


def fold_by_revolution(on_times: Sequence[datetime] | ArrayLike, revolution_s: float) -> Fold:
    """Test whether contacts come back once per revolution of the belt: a crooked splice or a bowed length.

    The times are laid round a circle of one revolution; the Rayleigh test asks whether they gather at one place of it.
    Contacts within half a revolution of the one before are left out first: several contacts of one episode lie close
    together whatever their cause, and would pass for a rhythm.

    Parameters
    ----------
    on_times : sequence of datetime, or array of float, shape (n,)
        When one switch went on during *one unbroken run* at steady speed; as floats in seconds from a full hour [s].
        A stop puts the belt somewhere else in its round, so runs are folded one by one.
    revolution_s : float
        Time of one revolution, 2 L / v with the speed of that run [s]. An error of 1 % adds up: fold no more than
        about 30 revolutions at once unless the speed is known better.

    Returns
    -------
    Fold
        p_value (None below 8 contacts or where time stamps are coarser than 1/20 of a revolution, with the reason), n,
        flagged (p below 0.01), phase, strength.

    Raises
    ------
    ValueError
        If revolution_s is not above zero or an instant carries no zone.

    References
    ----------
    Rayleigh test with the approximation p = exp(sqrt(1 + 4 n + 4 (n^2 - R^2)) - (1 + 2 n)), J. H. Zar, Biostatistical
    Analysis, chapter on circular distributions (from memory; agrees with simulation, see the tests).

    Examples
    --------
    >>> fold_by_revolution([216.0 * k for k in range(8)], 216.0).flagged
    True
    """
    if not (revolution_s > 0 and math.isfinite(revolution_s)):
        raise ValueError(f"revolution_s is {revolution_s} s; give a time above 0")
    times = np.unique(_as_seconds(on_times))
    coarse = _resolution_s(times)
    kept = _thinned(times, revolution_s / 2)
    n = len(kept)
    if n < FEWEST_TO_FOLD:
        rule = FoldRule.ONE_CONTACT if n == 1 else FoldRule.FEW_CONTACTS
        return Fold(None, n, False, reasons=(Reason(rule, {"contacts": n, "fewest": FEWEST_TO_FOLD}),))
    if coarse > revolution_s * COARSEST_STAMP:
        values = {"stamp": float(coarse), "revolution": round(revolution_s), "finest": revolution_s * COARSEST_STAMP}
        return Fold(None, n, False, reasons=(Reason(FoldRule.COARSE_TIMES, values),))
    mean = np.exp(2j * np.pi * (kept - kept[0]) / revolution_s).mean()
    strength = float(min(abs(mean), 1.0))
    p_value = rayleigh_p(n, strength)
    phase = float(np.angle(mean) / (2 * np.pi) % 1)
    return Fold(p_value, n, p_value < FOLD_LEVEL, phase=phase, strength=strength)


def fold_in_runs(on_times: Sequence[datetime], revolution_s: float, most_revolutions: int = 30) -> Fold:
    """Fold a longer spell in pieces of a few revolutions each, because a small error of speed adds up.

    Parameters
    ----------
    on_times : sequence of datetime
        When one switch went on, in any order.
    revolution_s : float
        Time of one revolution, 2 L / v [s].
    most_revolutions : int, optional
        Longest piece [revolutions].

    Returns
    -------
    Fold
        Of the piece with the clearest rhythm; its p_value is multiplied by the number of pieces that could be folded
        (Bonferroni), so that looking at many does not find a rhythm by chance. Without such a piece, the reason why.

    Raises
    ------
    ValueError
        As `fold_by_revolution`.
    """
    times = sorted(on_times)
    pieces: list[list[datetime]] = []
    for at in times:
        if pieces and _seconds(pieces[-1][0], at) <= most_revolutions * revolution_s:
            pieces[-1].append(at)
        else:
            pieces.append([at])
    folds = [fold_by_revolution(piece, revolution_s) for piece in pieces]
    told = [fold for fold in folds if fold.p_value is not None]
    if not told:
        return max(folds, key=lambda fold: fold.n) if folds else fold_by_revolution([], revolution_s)
    best = min(told, key=lambda fold: fold.p_value or 0.0)
    p_value = min(1.0, (best.p_value or 0.0) * len(told))
    return Fold(p_value, best.n, p_value < FOLD_LEVEL, phase=best.phase, strength=best.strength)


def rayleigh_p(n: int, strength: float) -> float:
    """Chance that ``n`` directions without any preference have a mean vector at least this long.

    Parameters
    ----------
    n : int
        Number of directions, at least 1.
    strength : float
        Length of their mean vector, 0 to 1 [-].

    Returns
    -------
    float
        Approximate p-value, good from about 8 directions on.

    Raises
    ------
    ValueError
        If n is below 1 or strength outside 0 to 1.

    References
    ----------
    As in `fold_by_revolution`.
    """
    if n < 1:
        raise ValueError(f"n is {n}; give 1 or more")
    if not 0 <= strength <= 1:
        raise ValueError(f"strength is {strength}; give 0 to 1")
    return min(1.0, math.exp(math.sqrt(1 + 4 * n + 4 * n**2 * (1 - strength**2)) - (1 + 2 * n)))


def _as_seconds(on_times: Sequence[datetime] | ArrayLike) -> FloatArray:
    if isinstance(on_times, Sequence) and any(isinstance(t, datetime) for t in on_times):
        return np.array([_utc(t).timestamp() for t in on_times if isinstance(t, datetime)], dtype=np.float64)
    return np.asarray(on_times, dtype=np.float64)


def _resolution_s(times: FloatArray) -> float:
    """The coarsest step, of those that exports use, on which all times lie; 0 for finer than a second.

    Steps are counted on the clock and not from the first time: a splice that comes by every 60 s does so at any second
    of the minute, while stamps written to the minute all end in :00.
    """
    for step in (3600.0, 900.0, 300.0, 60.0, 30.0, 10.0, 5.0, 1.0):
        if np.all(np.abs(times - np.round(times / step) * step) < 1e-6):
            return step
    return 0.0


def _thinned(times: FloatArray, apart_s: float) -> FloatArray:
    """The first of each group of times that lie close to the one kept before."""
    kept: list[float] = []
    for t in times.tolist():
        if not kept or t - kept[-1] >= apart_s:
            kept.append(t)
    return np.array(kept, dtype=np.float64)

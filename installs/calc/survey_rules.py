"""The rules of a survey: what was seen and is wanted of each line, and why it stands as it does."""

from __future__ import annotations

from enum import StrEnum

from plant.calc.reasons import Word


class HiddenCause(StrEnum):
    """Causes that a device would hide, in the order in which they are tested for.

    After the causes that belt conveyor practice names. That the whole belt off at one place points to the structure
    there, and one length off everywhere to the belt, is also in US Army TM 5-3895-374-24-2.
    """

    OUT_OF_SQUARE = "out_of_square"
    SEIZED_ROLLS = "seized_rolls"
    SPLICE = "splice"
    LOADING = "loading"
    TENSION = "tension"
    WEATHER = "weather"
    REVERSING = "reversing"
    BELT = "belt"
    SWITCH = "switch"

    @property
    def name_rule(self) -> Word:
        """Stands for its name among the values of a reason."""
        return Word(f"survey.cause.{self.value}.name")

    @property
    def how_rule(self) -> Word:
        """Stands for how to test for it."""
        return Word(f"survey.cause.{self.value}.how")

    @property
    def why_rule(self) -> Word:
        """Stands for why it is cured first."""
        return Word(f"survey.cause.{self.value}.why")


class SurveySeen(StrEnum):
    """What was measured or seen, or is wanted: a word, an amount or a range."""

    NOT_STATED = "survey.seen.not_stated"
    NOT_MEASURED = "survey.seen.not_measured"
    NOT_LOOKED = "survey.seen.not_looked"
    NOT_TESTED = "survey.seen.not_tested"
    NONE = "survey.seen.none"
    YES = "survey.seen.yes"
    NO = "survey.seen.no"
    KNOWN = "survey.seen.known"
    TYPED = "survey.seen.typed"
    ONE_MODEL = "survey.seen.one_model"
    AS_SHEET = "survey.seen.as_sheet"
    CARRY = "survey.seen.carry"
    RETURN = "survey.seen.return"
    ONE_WAY = "survey.seen.one_way"
    BOTH_WAYS = "survey.seen.both_ways"
    DOWNSTREAM = "survey.seen.downstream"
    MM = "survey.seen.mm"
    M = "survey.seen.m"
    M_S = "survey.seen.m_s"
    DEG = "survey.seen.deg"
    BETWEEN_MM = "survey.seen.between_mm"
    BETWEEN_M = "survey.seen.between_m"
    BETWEEN_M_S = "survey.seen.between_m_s"
    BETWEEN_DEG = "survey.seen.between_deg"
    AT_LEAST_MM = "survey.seen.at_least_mm"
    AT_LEAST_M_S = "survey.seen.at_least_m_s"
    AT_MOST_MM = "survey.seen.at_most_mm"
    AT_MOST_M_S = "survey.seen.at_most_m_s"
    GUARD_WANTED = "survey.seen.guard_wanted"
    GUARD_STAYS = "survey.seen.guard_stays"
    GUARD_OFF = "survey.seen.guard_off"
    GUARD_BACK = "survey.seen.guard_back"
    GUARD_NOT_BACK = "survey.seen.guard_not_back"
    GUARD_OFF_NAMED = "survey.seen.guard_off_named"
    GUARD_BACK_NAMED = "survey.seen.guard_back_named"
    GUARD_NOT_BACK_NAMED = "survey.seen.guard_not_back_named"
    NONE_OR_CURED = "survey.seen.none_or_cured"
    FOUND = "survey.seen.found"
    CURED = "survey.seen.cured"
    NO_SIGN = "survey.seen.no_sign"
    STATION = "survey.seen.station"
    STATIONS = "survey.seen.stations"
    STATIONS_WANTED = "survey.seen.stations_wanted"


class SurveyRule(StrEnum):
    """Why a line stands as it does."""

    ON_BELT = "survey.on_belt"
    BELT_ENDS = "survey.belt_ends"
    NO_MODEL = "survey.no_model"
    NOT_WHOLE_RANGE = "survey.not_whole_range"
    SPACING_UNKNOWN = "survey.spacing_unknown"
    FRAMES_NOT_STATED = "survey.frames_not_stated"
    SPACING_SHORT = "survey.spacing_short"
    SPACING_OVER = "survey.spacing_over"
    EXTENSION_NOT_STATED = "survey.extension_not_stated"
    SPACING_REACHED = "survey.spacing_reached"
    WANDER_NOT_SEEN = "survey.wander_not_seen"
    WANDER_UPSTREAM = "survey.wander_upstream"
    BEYOND_REACH = "survey.beyond_reach"
    OBSTRUCTED = "survey.obstructed"
    ACCESS_KNOWN = "survey.access_known"
    ACCESS_UNKNOWN = "survey.access_unknown"
    LIFTING_YES = "survey.lifting_yes"
    LIFTING_NO = "survey.lifting_no"
    LIGHT_YES = "survey.light_yes"
    LIGHT_NO = "survey.light_no"
    LOOK_BEFORE = "survey.look_before"
    GUARD_STAYS = "survey.guard_stays"
    GUARD_UNKNOWN = "survey.guard_unknown"
    GUARD_BACK = "survey.guard_back"
    GUARD_NOT_BACK = "survey.guard_not_back"
    GUARD_BACK_UNKNOWN = "survey.guard_back_unknown"
    CAUSE_OVERRIDDEN = "survey.cause_overridden"
    CAUSE_FIRST = "survey.cause_first"
    CAUSE_UNTESTED = "survey.cause_untested"
    CAUSE_SEEN = "survey.cause_seen"
    OFFSETS_MEASURED = "survey.offsets_measured"
    OFFSETS_NEEDED = "survey.offsets_needed"
    AS_WRITTEN = "survey.as_written"

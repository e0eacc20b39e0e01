"""Calendar and local time: figures from outside the project.

``local_time.csv``: local days, months and shifts in UTC, *computed* with zoneinfo and tzdata 2026.6; the rules of
Berlin and of the United States for 2026 are present law.

``iso_weeks.csv``: dates and their ISO 8601 week dates. 1985-04-12 is the standard's own example (*memory*, agrees with
the computation); the rows round New Year *computed* with ``date.isocalendar``.
"""

# A date in a plant's zone and the instant from which what was due on it is overdue. *Computed*, as above.
OVERDUE = [
    ("2026-10-25", "Europe/Berlin", "2026-10-25T23:00Z"),
    ("2026-03-29", "Europe/Berlin", "2026-03-29T22:00Z"),
    ("2026-10-25", "Australia/Perth", "2026-10-25T16:00Z"),
    ("2026-10-25", "America/New_York", "2026-10-26T04:00Z"),
]

# Clock readings in Berlin that do not exist or come twice: reading, kind, UTC with fold 0, UTC with fold 1. *Computed*.
WALL_TIMES = [
    ("2026-03-29T02:30", "missing", "2026-03-29T01:30Z", "2026-03-29T00:30Z"),
    ("2026-10-25T02:30", "doubled", "2026-10-25T00:30Z", "2026-10-25T01:30Z"),
]

# Years with 53 ISO weeks, 2000 to 2040. *Computed* with ``date.isocalendar``.
YEARS_OF_53_WEEKS = [2004, 2009, 2015, 2020, 2026, 2032, 2037]

# Months counted from an anchor, clamped to the month's end (the rule is *ours*; RFC 5545, 3.3.10 would skip the short
# months). *Computed* with dateutil 2.9.0.post0, each from the anchor.
MONTHS_FROM_ANCHOR = [
    ("2026-01-31", 1, "2026-02-28"),
    ("2026-01-31", 2, "2026-03-31"),
    ("2026-01-31", 3, "2026-04-30"),
    ("2026-01-31", 4, "2026-05-31"),
    ("2026-01-31", 5, "2026-06-30"),
    ("2024-02-29", 12, "2025-02-28"),
    ("2024-02-29", 48, "2028-02-29"),
    ("2025-11-30", 3, "2026-02-28"),
]

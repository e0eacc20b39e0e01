"""Calendar cases from outside the project.

``recurrence.csv``: examples of RFC 5545, section 3.8.5.3, and of its section 3.3.10 (the source stands in each row);
dates recomputed with dateutil 2.9.0.post0, several also read in test suites that quote the RFC.

``indicators.json``: eight tasks and four actions of November 2026, worked by hand; here for the age of what is overdue.
"""

# Month by month from 31 January 2026, clamped from the anchor: by hand from the calendar.
MONTHLY_FROM_THE_31ST = ("2026-01-31", "2026-02-28", "2026-03-31", "2026-04-30", "2026-05-31", "2026-06-30")

# Anchor, months later, date: by hand from the calendar (2024 and 2028 are leap years).
MONTHS_LATER = (
    ("2024-02-29", 12, "2025-02-28"),
    ("2024-02-29", 48, "2028-02-29"),
    ("2025-11-30", 3, "2026-02-28"),
)

# Last day of the window, plant's zone, overdue from (UTC): computed with zoneinfo and tzdata 2026.6; Berlin's and New
# York's rules for 2026 by present law.
OVERDUE_FROM = (
    ("2026-10-25", "Europe/Berlin", "2026-10-25T23:00:00+00:00"),
    ("2026-03-29", "Europe/Berlin", "2026-03-29T22:00:00+00:00"),
    ("2026-10-25", "Australia/Perth", "2026-10-25T16:00:00+00:00"),
    ("2026-10-25", "America/New_York", "2026-10-26T04:00:00+00:00"),
)

"""Switch events to incidents, and the test for a rhythm: figures from outside the project.

``switch_events.json``: three cases worked by *hand*, with variants. The joining rule is *ours*; hold 2 s and gap 600 s
are *practice*: common practice, no source.
"""

# Critical lengths of the mean vector in the Rayleigh test. n: at p = 0.05, at p = 0.01. *Computed* by a seeded
# simulation apart from the project's code (400 000 draws of n directions, NumPy generator with seed 1; about 0.002).
CRITICAL_STRENGTH = {8: (0.601, 0.724), 10: (0.541, 0.655), 20: (0.385, 0.473), 50: (0.244, 0.302)}

# One revolution of the belt of 340 m at 3.15 m/s: 2 L / v = 215.87 s, by hand.
SPLICE_REVOLUTION_S = 215.87

"""Units and tape lengths: figures from outside the project. Read the source line above each table.

``lengths.csv``: what people type for a length, with the exact value. The choice of what to accept is *ours*; the factor
of 25.4 mm to the inch is exact by definition (NIST Special Publication 811, 2008, Appendix B). Tolerance 1e-9 mm.
"""

# NIST Special Publication 811 (2008), Appendix B. Inch, foot, pound and standard gravity are exact by definition; the
# pound-force is their product, the torques were *computed* from it with decimal arithmetic; SP 811 prints the rounded
# digits beside it (*read* in pages that repeat them). text, stored value, digits as printed.
SP_811 = {
    "inch in m": ("1 in", 0.0254, 2.54e-2),
    "foot in m": ("1 ft", 0.3048, 3.048e-1),
    "pound-force in N": ("1 lbf", 4.4482216152605, 4.448222),
    "lbf ft in N m": ("1 lbf·ft", 1.3558179483314004, 1.355818),
    "lbf in in N m": ("1 lbf·in", 0.11298482902761670, 1.129848e-1),
    "kgf m in N m": ("1 kgf·m", 9.80665, 9.80665),
    "pound in kg": ("1 lb", 0.45359237, 4.535924e-1),
    "short ton in t": ("1 short ton", 0.90718474, 9.071847e-1),  # 2000 lb, exact; printed digits from memory
}

# lbf·ft and N·m, *computed* with decimal arithmetic, relative tolerance 1e-12; shown to 0.1 on both sides.
TORQUES = [(10, 13.55817948331400), (75, 101.68634612485503), (150, 203.37269224971006)]
N_M_100_IN_LBF_FT = 73.75621492772654

# mm and what a tape shows in inches. The rule is *ours*: nearest 1/16, ties away from zero (SP 811 B.7.1 sends ties to
# the even digit, *memory*: this differs on purpose, a tape is read upwards).
TAPE = [
    (1308.1, "51 1/2"),
    (1308, "51 1/2"),
    (38, "1 1/2"),
    (19, "3/4"),
    (13, "1/2"),
    (60, "2 3/8"),
    (45, "1 3/4"),
    (10, "3/8"),
    (3, "1/8"),
    (0.79375, "1/16"),
    (0, "0"),
]

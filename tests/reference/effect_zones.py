"""The demo plant's belts and devices, and what their geometry says; worked by hand from the table.

Zone 50 m; return devices act towards the tail, carry devices towards the head. Switch pairs stand 2 m from each end of
every belt; belts over 150 m also have them at 60, 120, 180 ... m.

``fitup.json``, part "placement": common practice, no source (20 ft into the stretch, 150 to 200 ft of effect); lengths
computed from the exact foot of 0.3048 m.
"""

ZONE_M = 50

# Tag: length m, then devices as number, chainage m, strand.
BELTS = {
    "Q-01": (140, [(1, 60, "return")]),
    "Q-02": (210, [(2, 95, "return"), (3, 160, "carry")]),
    "Q-04": (180, [(4, 70, "return"), (5, 130, "return")]),
    "Q-06": (320, [(6, 110, "return"), (7, 240, "return")]),
    "Q-11": (900, [(8, 60, "return"), (9, 180, "return"), (10, 300, "return"), (11, 760, "return")]),
    "P-02": (85, [(12, 40, "return")]),
    "P-03": (110, [(13, 50, "return")]),
    "P-04": (130, [(14, 70, "return")]),
    "P-05": (95, [(15, 45, "return"), (16, 80, "carry")]),
    "S-03": (70, [(17, 40, "return")]),
    "S-05": (85, [(18, 45, "return")]),
    "S-10": (60, [(19, 35, "return")]),
    "S-12": (260, [(20, 120, "return"), (21, 210, "return")]),
    "S-15": (190, [(22, 85, "return")]),
    "S-17": (38, [(23, 22, "return")]),
    "S-19": (52, [(24, 30, "return")]),
    "S-21": (120, [(25, 50, "return")]),
    "Y-01": (150, [(26, 70, "return")]),
    "Y-02": (340, [(27, 90, "return"), (28, 210, "return"), (29, 300, "return")]),
    "Y-03": (300, [(30, 130, "return"), (31, 230, "return")]),
    "Y-05": (75, [(32, 38, "return")]),
    "Y-06": (110, [(33, 55, "return")]),
    "Y-09": (280, [(34, 140, "return"), (35, 240, "return")]),
    "K-01": (90, [(36, 45, "return")]),
    "K-02": (60, [(37, 30, "return")]),
    "K-04": (120, [(38, 50, "return"), (39, 90, "return")]),
    "K-05": (70, [(40, 35, "return")]),
    "K-07": (95, [(41, 5, "return"), (42, 60, "carry")]),
    "L-01": (130, [(43, 60, "return"), (44, 100, "carry")]),
    "L-02": (220, [(45, 100, "return"), (46, 180, "return")]),
    "L-03": (310, [(47, 80, "return"), (48, 160, "return"), (49, 250, "return"), (50, 290, "carry")]),
    "L-04": (260, [(51, 90, "return"), (52, 170, "return"), (53, 230, "return")]),
    "L-05": (90, [(54, 45, "return"), (55, 75, "carry")]),
    "L-06": (
        420,
        [(56, 130, "return"), (57, 160, "return"), (58, 250, "return"), (59, 330, "return"), (60, 400, "return")],
    ),
}
REVERSING = ("Y-05", "K-02")

# Devices without a switch in their zone.
UNSEEN = (1, 14, 26, 33, 39, 43)
# Devices whose zones overlap: 38 reaches down to 0 and 39 to 40 m; 56 and 57 share 110 to 130 m.
OVERLAPPING = ((38, 39), (56, 57))

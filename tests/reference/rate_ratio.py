"""Two counts with unequal exposure: figures from outside the project, and the demo plant's stories.

``coal.csv``: dates (decimal years) of 191 explosions in British coal mines with ten or more deaths, 1851-1962. Data set
``coal`` of the R package boot, as carried by the Python package pydataset 0.2.0. Jarrett, R. G. (1979), A note on the
intervals between coal-mining disasters, Biometrika 66, 191-193, corrected Maguire, Pearson & Wynn (1952).
"""

# name: n before, hours before, n after, hours after, ratio, exact low, high, mid-P low, high, p minimum likelihood,
# central, mid-P. Computed with SciPy 1.17.1 apart from this code (beta quantiles; mid-P tails by root finding) where
# nothing else is said.
PUBLISHED = {
    # Boice & Monson (1977), Breast cancer in women after repeated fluoroscopic examinations of the chest, JNCI 59;
    # counts from memory, used by Gu, Ng, Tang & Schucany (2008), Biometrical Journal 50, and by Rothman et al.
    "fluoroscopy": (
        (15, 19017, 41, 28010),
        (1.855759, 1.005684, 3.609300, 1.041075, 3.449423, 0.040852, 0.047660, 0.035457),
    ),
    # statsmodels, stats/tests/results/results_rates.py, made with R's package exactci: p-values as printed there.
    "exactci": (
        (30, 54308.7, 60, 51477.5),
        (2.109998, 1.339736, 3.388366, 1.368104, 3.307297, 0.0006752, 0.0008561, 0.0006203),
    ),
    # No source: computed with SciPy 1.17.1.
    "none after": ((8, 1000, 0, 1200), (0.0, 0.0, 0.488194, 0.0, 0.378513, 0.001822, 0.003645, 0.001822)),
    # By hand: mid-P solves p = 0.025 + p * p / 2, so the limit is (1 - 0.025641) / 0.025641 = 39.
    "one and one": ((1, 500, 1, 500), (1.0, 0.012739, 78.496835, 0.025641, 39.0, 1.0, 1.0, 1.0)),
    # The coal disasters of 1851-1890 (40 years) against 1891-1962 (72 years), counted in coal.csv; p left out.
    "coal": ((125, 40, 66, 72), (0.293333, 0.214308, 0.398363, 0.216738, 0.394286, None, None, None)),
}

# Fay, M. P., vignette of the R package rateratio.test: 2 in 17 877 against 9 in 16 660, as printed there.
RATERATIO_TEST = ((9, 16660, 2, 17877), 0.2071, 0.0218, 1.0005, 0.0501)

# Garwood (1936): exact 95 % limits of a Poisson mean as tabulated in many handbooks (from memory; agree with SciPy).
POISSON_LIMITS = {0: (0.0, 3.689), 1: (0.0253, 5.572), 5: (1.623, 11.668), 10: (4.795, 18.390), 20: (12.217, 30.888)}

# Power for equal hours, both counts left to chance: expected incidents before, true ratio, power. From a seeded
# simulation made outside this code (about +/- 0.01).
POWER = [(10, 0.5, 0.18), (20, 0.5, 0.38), (30, 0.5, 0.56), (50, 0.5, 0.81)]
POWER += [(10, 0.25, 0.47), (20, 0.25, 0.83), (30, 0.25, 0.96)]

# The demo plant's stories: counts and hours, then ratio and exact 95 % interval to two digits, then the verdict. The
# intervals were computed with SciPy's exact conditional binomial test, apart from this code.
STORIES = {
    "S-12, works": ((29, 4800, 6, 4700), (0.21, 0.07, 0.52), "fewer"),
    "Y-03, does nothing": ((15, 5000, 14, 4900), (0.95, 0.43, 2.12), "no_clear_change"),
    "K-07, too near the tail pulley": ((16, 10500, 25, 7000), (2.34, 1.20, 4.70), "more"),
    "L-02, before the pivot seized": ((18, 4500, 2, 1750), (0.29, 0.03, 1.19), "too_early"),
    "L-02, after the pivot seized": ((18, 4500, 10, 2600), (0.96, 0.40, 2.20), "no_clear_change"),
    "Q-04, wet wear": ((24, 4400, 8, 4100), (0.36, 0.14, 0.82), "fewer"),
    "P-05, loose fasteners": ((12, 4600, 5, 4500), (0.43, 0.12, 1.30), "no_clear_change"),
    # By hand: (0.025 ** (-1 / 14) - 1) * 4900 / 95 = 15.549.
    "S-21, three weeks old": ((14, 4900, 0, 95), (0.0, 0.0, 15.549), "too_early"),
    "Y-09, against the bad quarter": ((9, 1300, 15, 5000), (0.43, 0.18, 1.12), "no_clear_change"),
    "Y-09, against the full year": ((16, 5000, 15, 5000), (0.94, 0.43, 2.02), "no_clear_change"),
    "S-15, not cut at the new belt": ((20, 4900, 5, 4900), (0.25, 0.07, 0.69), "fewer"),
    "S-15, cut at the new belt": ((20, 4900, 3, 820), (0.90, 0.17, 3.02), "too_early"),
    "L-06, two devices as a group": ((21, 4500, 6, 4400), (0.29, 0.10, 0.75), "fewer"),
}

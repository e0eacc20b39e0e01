"""Published and hand-worked figures for reference models, the index of effect, pooled ratios and the rate watch.

``ships.csv``: ship damage, McCullagh & Nelder, Generalized Linear Models, 2nd ed. 1989, section 6.3.2 (data set ships
of the R package MASS, as carried by pydataset 0.2.0). ``quine.csv``: data set quine of the same package.
"""

# Coefficients and Pearson statistic computed with statsmodels 0.15; the book's printed values (-6.41, -0.54, -0.69,
# -0.08, 0.33, 0.70, 0.82, 0.45, 0.38) are from memory and agree.
SHIPS = (-6.4059, -0.5433, -0.6874, -0.0760, 0.3256, 0.6971, 0.8184, 0.4534, 0.3845)
SHIPS_DISPERSION = 1.69

# Days ~ Eth + Sex + Age + Lrn; Venables & Ripley, MASS 4th ed., print theta 1.275 and 2 x log-likelihood -1093.15
# (from memory); the digits were computed with statsmodels.
QUINE = {"N": -0.5694, "M": 0.0823, "F1": -0.4484, "F2": 0.0881, "F3": 0.3569, "SL": 0.2921}
QUINE_INTERCEPT, QUINE_SHAPE, QUINE_TWICE_LOG = 2.8946, 1.2749, -1093.151

# By hand with Hauer's formulae (1997; FHWA-SA-10-032; Highway Safety Manual 2010):
# n0, t0, n1, t1, reference per h, phi, trend, then w, E, pi, Var pi, theta, standard error.
HAUER = {
    "S-12": ((29, 4800, 6, 4700, 0.0025, 2, 1), (0.142857, 26.571429, 26.017857, 21.836416, 0.223404, 0.096527)),
    "bad quarter": ((9, 1300, 15, 5000, 0.0025, 2, 1), (0.380952, 6.809524, 26.190476, 62.358277, 0.525, 0.191036)),
    "full year": ((16, 5000, 15, 5000, 0.0025, 2, 1), (0.137931, 15.517241, 15.517241, 13.376932, 0.915789, 0.303312)),
    "trend 0.9": ((20, 4000, 9, 5000, 0.003, 1.5, 0.9), (0.111111, 19.111111, 21.5, 21.5, 0.4, 0.151749)),
}
# Median and 95 % interval of the ratio of two gamma posteriors (mean 2.5 per 1000 h, shape 2, count after + 0.5),
# drawn by chance apart from this code, to two digits (the last one is uncertain).
POSTERIOR = {
    "S-12": ((29, 4800, 6, 4700), (0.24, 0.09, 0.53)),
    "Y-03": ((15, 5000, 14, 4900), (1.01, 0.49, 2.04)),
    "bad quarter": ((9, 1300, 15, 5000), (0.60, 0.28, 1.34)),
    "full year": ((16, 5000, 15, 5000), (0.99, 0.49, 1.98)),
}

# Four strata, computed by root finding and again as a Poisson regression with a constant for each stratum.
STRATA = ([29, 15, 24, 12], [4800, 5000, 4400, 4600], [6, 14, 8, 5], [4700, 4900, 4100, 4500])
STRATA_RATIO = (0.427153, 0.284754, 0.640762)
# Benjamini & Hochberg (1995), JRSS B 57, section 3.2.
BENJAMINI_HOCHBERG = (
    0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459, 0.3240, 0.4262, 0.5719, 0.6528, 0.7590, 1.0,
)  # fmt: skip

# Poisson CUSUM (Lucas 1985), signal at S >= h, by the Markov chain of Brook & Evans (1972), computed apart from this
# code: mean, k, h, average run length.
RUN_LENGTHS = ((2, 3, 7, 894.004), (4, 3, 7, 7.184), (1, 2, 5, 1903.543), (1, 1.5, 5, 273.650))

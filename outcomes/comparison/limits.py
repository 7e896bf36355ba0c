"""When the comparison refuses a figure, and other fixed numbers of it: all in one place.

Every one is a project convention unless a source stands beside it.
"""

from __future__ import annotations

# Adjusted figures
FEWEST_PER_ARM = 20  # patients in each arm
FEWEST_EVENTS = 10  # with the outcome, and as many without it, both arms together
# Vittinghoff E, McCulloch CE, Am J Epidemiol 2007;165:710-718, "Relaxing the rule of ten events per variable
# in logistic and Cox regression", doi:10.1093/aje/kwk052: five to nine are enough to adjust for confounding.
ROWS_PER_TERM = 5  # in the smaller arm, for each term of the propensity model
KNOWN_SHARE = 0.8  # of each arm in whom a covariate must be recorded to be adjusted for
# Crump RK, Hotz VJ, Imbens GW, Mitnik OA, Biometrika 2009;96:187-199, "Dealing with limited overlap in
# estimation of average treatment effects", doi:10.1093/biomet/asn055.
COMPARABLE_SCORES = (0.1, 0.9)  # chance of axillary between which either route was a real possibility
FEWEST_COMPARABLE = 15  # rows of each arm with such a chance
FEWEST_EFFECTIVE = 10.0  # effective sample size of each arm after weighting
# From here on limits of weighted figures come from a formula, not from resampling. Tried on invented rows,
# 300 and 500, 17 terms, shares of 4 and 25 %, 1,200 times each: the formula's 95 % limits held the truth in
# 94.7 to 95.7 % and were 1 to 3 % narrower than those of resampling.
CLOSED_FORM_FROM_ROWS = 300
RESAMPLES = 1_000
RESAMPLES_ELSEWHERE = 300  # for the rows of the sensitivity table
SEED = 20_260_101

# Who could have had either route. A level of a characteristic that one arm lacks is left out where so many of
# the other arm have it, and so many were to be expected if the arms had equal shares of it, that chance is an
# unlikely reason: with c expected, none are found with a chance of at most exp(-c), here 14 %. To leave out a
# level that was missing by chance costs a few rows; to keep one that was not makes the model guess.
FEWEST_ONE_SIDED = 5
FEWEST_EXPECTED = 2.0

# Balance. Austin PC, Stat Med 2009;28:3083-3107, "Balance diagnostics for comparing the distribution of
# baseline covariates between treatment groups in propensity-score matched samples", doi:10.1002/sim.3697.
UNBALANCED = 0.1  # a standardised difference beyond this is worth naming

# Time
EARLY_HOURS = 72  # days 0, 1 and 2
MOBILISED_WITHIN_DAYS = 7  # the restricted mean counts days up to here
FEWEST_ON_A_CURVE = 5  # followed from the start in each arm, for a curve and its test
FEWEST_DEATHS = 5  # for hazard ratios

# Over time
LEARNING_RUNS = 20  # first axillary placements of the programme, left out in one sensitivity row
BASELINE_MONTHS = 12  # full months after the first insertion, on which the limits of trend charts are frozen
FEWEST_BASELINE_EVENTS = 12  # one a month: with fewer the outcome is charted as gaps between events
FEWEST_BASELINE_GAPS = 5
FEWEST_CUSUM_CASES = 10
MOST_CUSUM_CASES = 1_000  # the latest axillary courses of a long sequence
CUSUM_RISK_CASES = 40  # first courses of both routes from which expected risks are frozen
CUSUM_ODDS_RATIOS = (2.0, 0.5)  # twice as many, half as many
CUSUM_CASES_BETWEEN_FALSE_SIGNALS = 250.0

# What would it take
WANTED_HALF_WIDTHS = (0.10, 0.075, 0.05, 0.03, 0.02)
PACE_DAYS = 365.25

# The committee's counts
OLDEST_STANDING = 1 / 3  # of the courses begun by now: counts that stand at fewer are too old to be shown

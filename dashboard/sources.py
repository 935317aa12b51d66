"""The methods with their sources, and what the figures cannot say."""

from __future__ import annotations

from models.methods.numeral import numeral

# Figure, method, source.
SOURCES: tuple[tuple[str, str, str], ...] = (
    ("Bench result", "Conformity with measurement uncertainty", "JCGM 106:2012"),
    (
        "Good switches among clear bench results",
        "Score interval",
        "Wilson 1927; Newcombe 1998, Statistics in Medicine 17:857",
    ),
    (
        "Good-switch rate, adjusted",
        "Post-stratified double sampling; Horvitz-Thompson with recorded draws",
        "Begg and Greenes 1983; Cochran, Sampling Techniques",
    ),
    (
        "Callbacks",
        "One minus Kaplan-Meier, leave-one-site-out jackknife, log-rank",
        "Kaplan and Meier 1958; Efron and Tibshirani 1993",
    ),
    (
        "Callbacks beside removal and the next swap",
        "Cumulative incidence, leave-one-site-out jackknife",
        "Aalen and Johansen 1978",
    ),
    ("Callbacks beyond the first", "Mean cumulative function, robust variance", "Lawless and Nadeau 1995"),
    (
        "Seasons",
        "Poisson regression with yearly harmonics, dispersion allowed for",
        "Stolwijk, Straatman and Zielhuis 1999",
    ),
    ("Faults by month", "Exact Poisson limits", "Garwood 1936"),
    (
        "Saved at the best quarter's rate",
        "Simulation of true rates, the spread of technicians estimated anew each time",
        "Laird and Louis 1987; JCGM 101:2008",
    ),
    (
        "Probability that a pulled switch was good",
        "Logistic regression, weighted by the chance of being tested, calibrated on a later block",
        "Brier 1950; Steyerberg 2009",
    ),
    (
        "Technicians and sites",
        "Beta-binomial shrinkage with a robust null; limit on the false-discovery rate: of each mark (technicians), of "
        "all (sites)",
        "Efron and Morris 1975; Spiegelhalter 2005; Efron 2007; Benjamini and Hochberg 1995",
    ),
    (
        "Draft margin over time",
        "Theil-Sen slope; Kendall test, exact also where readings tie",
        "Hollander and Wolfe, Nonparametric Statistical Methods",
    ),
    (
        "Weekly limits",
        "Exact binomial limits (beta-binomial where weeks vary more than chance), Laney p-prime",
        "Laney 2002; NIST/SEMATECH e-Handbook of Statistical Methods",
    ),
    (
        "Coaching",
        "Empirical-Bayes before and after, against technicians not coached yet",
        "Hauer 1997; Hauer et al. 2002; Morris 1983",
    ),
    (
        "The bench list",
        "Systematic draw within strata, power allocation, chances on record",
        "Madow 1949; Bankier 1988; Horvitz and Thompson 1952",
    ),
    ("Units", f"Conventional inch of water {numeral(249.08891, '.5f')} Pa", "NIST SP 811"),
    ("Heating degree-days", "Base 65 °F, mean of daily highest and lowest temperature", "NOAA practice"),
)

LIMITS = (
    "The figures rest on what was written down. A cause found and not recorded counts as not recorded.",
    "Ranges cover chance. They do not cover wrong records, wrong tags or a gauge that reads wrong beyond its "
    "stated accuracy.",
    "Which switches get tested is not random unless the bench draw says so; the adjusted rate allows for what "
    "was known before "
    "the test, not for what was not recorded. The bounds show the worst it could be.",
    "That swaps with a root cause come back less often is an association. Different faults get different records.",
    "What changed after coaching is set against technicians not coached yet; a new boss, van or area for the coached alone "
    "would look like an effect. With fewer than 3 coached and 8 others nothing is said.",
    "Weekly limits rest on one frozen year: where weeks vary much more than chance and cases are rare, a steady process "
    "signals more often than about once in 250 weeks (see the table of what these figures were proven on).",
    "A probability for one swap is not a finding about that swap. Only the bench test is.",
    "A figure about a person is for coaching; it must not decide pay or discipline.",
    "Nothing here says that an appliance is safe. Licensed people, the manufacturer's instructions and the "
    "local code decide.",
)

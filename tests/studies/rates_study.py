"""Do rates, ratios, shrinkage and trends reach their targets? Fleets with a known truth, judged as the answers judge.

Run ``python -m tests.studies.rates_study --replicates 200`` from the repository's top; well under a minute.
Each line shows the reached number with its Monte-Carlo error (0: added up exactly), beside the target and what the
naive method gives (this study's own). Numbers 1 to 3 are the methods brief's targets; lines marked + are this study's.
Unlike units: gamma frailty of variance 0.8, 0.25 failures a unit-year, half a year to six years watched.
"""

from __future__ import annotations

import math

import numpy as np
from scipy import stats

from fleet.analysis.failure_trends import trend_row
from fleet.analysis.poisson import benjamini_hochberg, compare_two_rates, garwood_limits
from fleet.analysis.rate_limits import group_limits, midp_limits, smallest_ratio_shown
from fleet.analysis.rate_ratios import UnitCounts, group_ratio
from fleet.analysis.recurrence import laplace_trend, mean_cumulative
from fleet.analysis.shrinkage import fit_gamma_prior, shrink_rates, shrink_with_prior
from fleet.analysis.trends import robust_trend
from fleet.analysis.watched_units import Watch
from fleet.errors import AnalysisError
from tests.studies.reporting import Line, print_study

FRAILTY, BASE = 0.8, 0.25
CHEAP = 20
"""So many fleets are drawn for each replicate where one takes a millisecond."""

SUMMER = np.array([0.3, 0.3, 0.4, 0.7, 1.2, 2.0, 2.6, 2.2, 1.0, 0.5, 0.3, 0.3])
"""How the year's failures fall into its months, for trends."""


def share_line(item, hits, band, naive="", *, slack=0.0):
    """Return the line of a share that has to lie in a band, give or take one Monte-Carlo error."""
    share = float(np.mean(hits))
    error = math.sqrt(max(share * (1 - share), 0.0099) / len(hits))
    met = band[0] - error - slack <= share <= band[1] + error + slack
    return Line(item, share, error, f"{band[0]:g}-{band[1]:g}", naive, met)


def frailty(rng, units, variance=FRAILTY):
    """Draw how much each unit fails over its kind: a gamma of mean 1."""
    return rng.gamma(1.0 / variance, variance, units)


def report_intervals():
    """Check exact and mid-P intervals by adding up all outcomes (target 1)."""
    means = np.arange(0.3, 30.0001, 0.05)
    counts = np.arange(0, 120)
    chance = stats.poisson.pmf(counts[None, :], means[:, None])

    def covered(limits):
        low, high = limits(counts, 1.0, 0.90)
        return (chance * ((low <= means[:, None]) & (means[:, None] <= high))).sum(axis=1)

    exact, midp = covered(garwood_limits), covered(midp_limits)
    least, mean = float(exact.min()), float(midp.mean())
    title = "90 % interval, mean 0.3 to 30:"
    return [
        Line(f"1  exact {title} least coverage", least, 0.0, ">= 0.900", "Wald 0.26", least >= 0.9),
        Line(f"1  mid-P {title} mean coverage", mean, 0.0, "0.89-0.92", "", 0.89 <= mean <= 0.92),
        Line(f"1  mid-P {title} least coverage (no target)", float(midp.min()), 0.0, "", "", True),
    ]


def report_unlike_units(rng, fleets):
    """Check the interval of a rate where units differ (target 2), for larger and smaller groups."""
    lines = []
    for mark, units, band in (("2", 100, (0.88, 0.92)), ("+", 20, (0.86, 0.94))):
        held, plain = [], []
        for _ in range(fleets):
            years = rng.uniform(0.5, 6.0, units)
            counts = rng.poisson(BASE * frailty(rng, units) * years)
            low, high = group_limits(np.zeros(units, dtype=np.int64), counts, years, 0.90)
            held.append(low[0] <= BASE <= high[0])
            alone = garwood_limits(counts.sum(), years.sum(), 0.90)
            plain.append(alone[0] <= BASE <= alone[1])
        item = f"{mark}  90 % interval of a rate, {units} unlike units"
        lines.append(share_line(item, held, band, f"{np.mean(plain):.2f}"))
    return lines


def report_ratios(rng, fleets):
    """Check size and power of the ratio test at 50 failures in the base (target 3), alike and unlike units."""
    size, exact_size, power = [], [], []
    for _ in range(fleets):
        base, same, double = (int(n) for n in rng.poisson([50.0, 50.0, 100.0]))
        size.append(compare_two_rates(same, 200.0, base, 200.0, level=0.95).p_value <= 0.05)
        exact_size.append(compare_two_rates(same, 200.0, base, 200.0, level=0.95, method="exact").p_value <= 0.05)
        power.append(compare_two_rates(double, 200.0, base, 200.0, level=0.95).p_value <= 0.05)
    lines = [
        share_line("3  mid-P ratio test at 5 %, size, 50 failures a side", size, (0.04, 0.06)),
        share_line("3  exact ratio test at 5 % (the default), size: never above", exact_size, (0.0, 0.05)),
        share_line("3  mid-P ratio test at 5 %, power against a ratio of 2", power, (0.95, 1.0)),
    ]
    unlike, naive = [], []
    for _ in range(fleets // 4):
        years = rng.uniform(0.5, 6.0, 120)
        counts = rng.poisson(BASE * frailty(rng, 120) * years).astype(float)
        seen = UnitCounts(groups=np.repeat([0, 1], 60), counts=counts, years=years)
        unlike.append(group_ratio(0, seen, 0.90, against=None).p_value <= 0.10)
        (n1, t1), (n0, t0) = ((int(counts[s].sum()), years[s].sum()) for s in (slice(0, 60), slice(60, 120)))
        naive.append(compare_two_rates(n1, t1, n0, t0, method="exact").p_value <= 0.10)
    item = "+  ratio at 10 %, size, 60 unlike units a side"
    return [*lines, share_line(item, unlike, (0.06, 0.12), f"{np.mean(naive):.2f}"), *report_smallest(rng, fleets // 4)]


def report_smallest(rng, fleets):
    """Check how often a true ratio as large as the smallest one named is seen."""
    lines = []
    for expected_0, expected_1 in ((8.0, 8.0), (40.0, 10.0)):
        ratio = smallest_ratio_shown(expected_0, expected_1, 0.90)
        seen = [
            compare_two_rates(int(a), expected_1, int(b), expected_0, level=0.90, method="exact").interval.low > 1
            for a, b in zip(rng.poisson(ratio * expected_1, fleets), rng.poisson(expected_0, fleets), strict=True)
            if a + b
        ]
        item = f"+  a true ratio of {ratio:.2f}, named smallest at {expected_0:g} and {expected_1:g} failures, is seen"
        lines.append(share_line(item, seen, (0.80, 0.80), slack=0.005))
    return lines


def alerts(rng, worse, groups=10, units=30):
    """Draw one fleet in groups and return which groups the answer would name, and which are worse."""
    times = np.where(np.arange(groups) < worse, 3.0, 1.0)
    code = np.repeat(np.arange(groups), units)
    years = rng.uniform(0.5, 6.0, code.size)
    counts = rng.poisson(BASE * times[code] * frailty(rng, code.size) * years).astype(float)
    seen = UnitCounts(groups=code, counts=counts, years=years)
    found = [group_ratio(g, seen, 0.90, against=None) for g in range(groups)]
    named = benjamini_hochberg([r.p_value for r in found], 0.10) & np.array([not r.ratio <= 1 for r in found])
    return named, times > 1


def report_alerts(rng, fleets):
    """Check false discovery where no group, and where two of ten, fail three times as often."""
    none = [alerts(rng, 0)[0].any() for _ in range(fleets)]
    false, found = [], []
    for _ in range(fleets):
        named, bad = alerts(rng, 2)
        false.append((named & ~bad).sum() / max(named.sum(), 1))
        found.append((named & bad).sum() / bad.sum())
    error, spread = (float(np.std(values) / math.sqrt(fleets)) for values in (false, found))
    wrong = float(np.mean(false))
    return [
        share_line("+  fleets of ten like groups (unlike units) with any alert", none, (0.0, 0.10)),
        Line("+  false share of alerts, two of ten at three times", wrong, error, "<= 0.10", "", wrong <= 0.10 + error),
        Line("+  of the groups at three times, named", float(np.mean(found)), spread, "", "", True),
    ]


def report_shrinkage(rng, replicates):
    """Check the shrunk interval over groups drawn from a gamma law; naive: the law fitted and taken for certain."""
    lines = []
    for groups in (5, 12, 40):
        held, plug = [], []
        for _ in range(replicates):
            truth = BASE * rng.gamma(4.0, 0.25, groups)
            years = rng.uniform(5.0, 60.0, groups)
            counts = rng.poisson(truth * years)
            full = shrink_rates(counts, years, level=0.90)
            held.extend((full.low <= truth) & (truth <= full.high))
            try:
                law = fit_gamma_prior(counts, years)
            except AnalysisError:
                continue  # no failure at all: nothing to fit
            fixed = shrink_with_prior(counts, years, shape=law.shape, rate=law.rate, level=0.90)
            plug.extend((fixed.low <= truth) & (truth <= fixed.high))
        item = f"+  90 % shrunk interval, {groups} groups"
        lines.append(share_line(item, held, (0.87, 0.93), f"plug-in {np.mean(plug):.2f}"))
    return lines


def report_curve(rng, fleets, units=60):
    """Check the curve's robust interval and the trend test: unlike units, failures in pairs, a hole in the watch."""
    held, fooled, kept = [], [], []
    start, stop = np.tile([0.0, 3.5], units), np.tile([3.0, 6.0], units)
    belongs = np.repeat(np.arange(units), 2)
    for _ in range(fleets):
        mean = np.repeat(frailty(rng, units), 2) * BASE * (stop - start)
        window = np.repeat(np.arange(2 * units), rng.poisson(mean))
        age = start[window] + rng.uniform(1e-9, 1.0, window.size) * (stop - start)[window]
        pairs = np.concatenate([window, window])
        both = np.concatenate([age, np.minimum(age + rng.exponential(0.02, age.size), stop[window])])
        first = start[pairs] == 0.0
        curve = mean_cumulative(start[::2], stop[::2], belongs[pairs[first]], both[first])
        held.append(curve.low[-1] <= 2 * BASE * 3.0 <= curve.high[-1])
        kept.append(robust_trend(start, stop, pairs, both, belongs_to=belongs).p_value <= 0.10)
        fooled.append(laplace_trend(start, stop, pairs, both, belongs_to=belongs).p_value <= 0.10)
    return [
        share_line("+  90 % interval of the mean cumulative function, failures in pairs", held, (0.86, 0.93)),
        share_line("+  trend test at 10 %, no trend, failures in pairs", kept, (0.07, 0.13), f"{np.mean(fooled):.2f}"),
        *report_yearly(rng, fleets),
    ]


def report_yearly(rng, fleets, units=240, first=18_262):
    """Check the yearly factor: a seasonal fleet of unlike units, 3.5 years from 1 January 2020."""
    days = np.arange(round(3.5 * 365.25))
    month = (first + days).astype("datetime64[D]").astype("datetime64[M]").astype(int) % 12
    lines = []
    for factor in (1.0, 1.2):
        chance = SUMMER[month] * factor ** (days / 365.25)
        errors, held = [], []
        for _ in range(fleets):
            owner = np.repeat(np.arange(units), rng.poisson(1.4 * frailty(rng, units)))
            watch = Watch(
                place=np.arange(units),
                unit=np.arange(units),
                start=np.full(units, float(first)),
                stop=np.full(units, float(first + days.size)),
                installed=np.full(units, np.nan),
                for_good=np.zeros(units, dtype=bool),
                owner=owner,
                when=first + rng.choice(days, owner.size, p=chance / chance.sum()) + 0.5,
            )
            row = trend_row("contactor", watch, 30, 0.90)
            errors.append(math.log(row["yearly_factor"] / factor))
            held.append(row["low"] <= factor <= row["high"])
        bias, spread = float(np.mean(errors)), float(np.std(errors, ddof=1)) / math.sqrt(fleets)
        item = f"+  bias of the yearly factor {factor:g} (log), 3.5 seasonal years"
        lines.append(Line(item, bias, spread, "|x| <= 0.02", "", abs(bias) <= 0.02 + spread))
        lines.append(share_line(f"+  90 % interval of the yearly factor {factor:g}", held, (0.86, 0.94)))
    return lines


def run_study(replicates: int, seed: int = 20_261) -> list[Line]:
    """Run every part of the study."""
    rng = np.random.default_rng(seed)
    many = replicates * CHEAP
    lines = report_intervals()
    lines += report_unlike_units(rng, many)
    lines += report_ratios(rng, many)
    lines += report_alerts(rng, replicates)
    lines += report_shrinkage(rng, replicates)
    return lines + report_curve(rng, 2 * replicates)


if __name__ == "__main__":
    print_study(__doc__, run_study, seed=20_261)

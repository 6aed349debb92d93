"""Do call-backs, clusters and lots reach their targets? Fleets in which what comes back is known.

Run ``python -m tests.studies.repeats_study --replicates 200`` from the repository's top; about ten minutes.
Each line shows the reached number with its Monte-Carlo error, beside the target and what a plain reading gives.
Numbers 17 to 20 are the methods brief's targets; lines marked + are this study's own.
Truth: call-backs — 400 units for three years, calls at gamma rates (mean 0.9 a year), 7 % of calls come back within
thirty days, delays exponential with mean nine days. Scans — 20 buildings for 104 weeks, winter to summer one to nine,
buildings alike or differing by a gamma law of variance 0.15; a heap triples a building's last 13 weeks where 8 failures
are usual. Lots — 12 lots of 15 to 70 parts, 4 % fail early, at most one lot five (three) times as often.
"""

from __future__ import annotations

import datetime as dt
import math

import numpy as np
import pandas as pd

from fleet.analysis.callbacks import beyond_chance, expect_returns
from fleet.analysis.lot_screen import judge_lots
from fleet.analysis.poisson import clopper_pearson
from fleet.analysis.scan import candidate_windows, drawn_maxima, running_shares
from fleet.analysis.scan_recent import drawn_recent_maxima, recent_baseline, recent_windows
from tests.studies.reporting import Line, print_study

DRAWS = 199
FIRST, DAYS, WINDOW = dt.date(2021, 1, 1), 1096, 30
BUILDINGS, WEEKS, REACH = 20, 104, 13


def line_of(item, values, band, target, naive=""):
    """Return the line of a mean over fleets; met inside its band give or take two Monte-Carlo errors."""
    mean, error = float(np.mean(values)), float(np.std(values, ddof=1) / math.sqrt(len(values)))
    return Line(item, mean, error, target, naive, band[0] - 2 * error <= mean <= band[1] + 2 * error)


def callback_fleet(rng, truth):
    """Return the calls of a fleet as the answer reads them, and its stretches at risk."""
    unit, day = [], []
    for number in range(400):
        own = rng.integers(0, DAYS, rng.poisson(rng.gamma(1.5, 0.9 / 1.5) * DAYS / 365.25))
        back = own[rng.random(own.size) < truth]
        delay = 1 + np.minimum(rng.exponential(9.0, back.size).astype(int), WINDOW - 1)
        came = np.concatenate([own, back + delay])
        came = np.sort(came[came < DAYS])
        unit += [number] * came.size
        day += came.tolist()
    days = pd.to_datetime(FIRST) + pd.to_timedelta(day, unit="D")
    jobs = pd.DataFrame({"unit_id": unit, "first_day": days, "last_day": days})
    gap = jobs.groupby("unit_id")["first_day"].diff().dt.days
    jobs = jobs.assign(days_after_last=gap, days_to_next=gap.shift(-1), service_to=pd.NaT)
    jobs.loc[jobs["unit_id"] != jobs["unit_id"].shift(-1), "days_to_next"] = np.nan
    ends = {"from_day": pd.Timestamp(FIRST), "to_day": pd.Timestamp(FIRST) + pd.Timedelta(days=DAYS)}
    return jobs, pd.DataFrame({"unit_id": np.arange(400), **ends})


def study_callbacks(rng, replicates):
    """Return the lines of call-backs."""
    shares, naive, held = [], [], []
    for _ in range(replicates):
        jobs, observed = callback_fleet(rng, 0.07)
        jobs, _ = expect_returns(jobs, observed, as_of=FIRST + dt.timedelta(days=DAYS - 1), window_days=WINDOW)
        calls = jobs.loc[~jobs["is_callback"]]
        n, returned, chance = len(calls), int(calls["returned"].sum()), float(calls["expected"].sum())
        limits = clopper_pearson(returned, n, 0.90)
        shares.append(beyond_chance(returned, chance, n) - 0.07)
        naive.append(returned / n - 0.07)
        held.append(beyond_chance(limits.low * n, chance, n) <= 0.07 <= beyond_chance(limits.high * n, chance, n))
    raw = f"raw {np.mean(naive):+.3f}"
    return [
        line_of("20 share of calls that come back, less the truth (0.070)", shares, (-0.01, 0.01), "|x| <= 0.01", raw),
        line_of("+  90 % interval holds the truth", held, (0.88, 0.99), "0.88-0.99"),
        line_of("+  absolute error", np.abs(shares), (0.0, 0.02), ""),
    ]


def weekly_counts(rng, usual, *, spread, heap, inside):
    """Draw failures by building and week; a heap in building 4 multiplies the weeks ``inside``."""
    level = rng.gamma(1 / spread, spread, BUILDINGS) if spread else np.ones(BUILDINGS)
    level[4] = 1.0
    raised = np.ones(usual.shape)
    raised[4, inside] = heap
    return rng.poisson(usual * level[:, None] * raised).astype(np.float64)


def study_scans(rng, replicates):
    """Return the lines of both scans."""
    week = np.arange(WEEKS)
    season = 1.0 + 0.8 * np.cos((week - 28) / 52.0 * 2 * np.pi)
    shape = np.tile(season / season.sum(), (BUILDINGS, 1))
    now = np.arange(WEEKS - REACH, WEEKS)
    lines = []
    for spread in (0.0, 0.15):
        kind = "buildings alike" if spread == 0 else "buildings unlike"
        for usual_there, heap, least in ((8.0, 3.0, 0.88), (3.0, 5.0, 0.85)):
            usual = shape * usual_there / shape[4, now].sum()
            false, found = [], []
            for _ in range(replicates):
                false.append(
                    now_p(rng, weekly_counts(rng, usual, spread=spread, heap=1.0, inside=now), usual)[0] <= 0.05
                )
                p, at = now_p(rng, weekly_counts(rng, usual, spread=spread, heap=heap, inside=now), usual)
                found.append(p <= 0.05 and at == 4)
            said = f"{heap:g} times {usual_there:g} usual failures"
            asked = (least, 1.0) if spread == 0 else (0.0, 1.0)
            lines += [
                line_of(f"17 {kind}: false alarms of a look now at 0.05 ({said})", false, (0.03, 0.06), "0.03-0.06"),
                line_of(
                    f"18 {kind}: {said} found, right building", found, asked, f">= {least:g}" if spread == 0 else ""
                ),
            ]
    return lines + study_looking_back(rng, replicates, shape)


def now_p(rng, seen, usual):
    """Return the p-value of the best window that reaches to the last week, and its building."""
    baseline = recent_baseline(seen, usual, max_weeks=REACH)
    windows = recent_windows(seen, baseline)
    drawn = drawn_recent_maxima(baseline, rng=rng, replicates=DRAWS)
    best = windows.llr.max(initial=0.0)
    at = int(windows.building[windows.llr.argmax()]) if windows.llr.size else -1
    return ((drawn >= best - 1e-9).sum() + 1.0) / (DRAWS + 1.0), at


def study_looking_back(rng, replicates, shape):
    """Return the false alarms and the finds of the scan of all windows."""
    lines = []
    for spread in (0.0, 0.15):
        kind = "buildings alike" if spread == 0 else "buildings unlike"
        inside = np.arange(46, 46 + 6)
        usual = shape * 40.0
        false, found = [], []
        for _ in range(replicates):
            false.append(
                back_p(rng, weekly_counts(rng, usual, spread=spread, heap=1.0, inside=inside), usual)[0] <= 0.05
            )
            p, at = back_p(rng, weekly_counts(rng, usual, spread=spread, heap=6.0, inside=inside), usual)
            found.append(p <= 0.05 and at == 4)
        lines += [
            line_of(f"17 {kind}: false alarms looking back at 0.05", false, (0.03, 0.06), "0.03-0.06"),
            line_of(f"+  {kind}: six weeks of six times the usual found", found, (0.0, 1.0), ""),
        ]
    return lines


def back_p(rng, seen, usual):
    """Return the p-value of the best window anywhere, and its building."""
    building, week = (np.repeat(index, seen.astype(int).ravel()) for index in np.indices(seen.shape).reshape(2, -1))
    running = running_shares(usual)
    windows = candidate_windows(building, week, running, max_weeks=REACH)
    drawn = drawn_maxima(building, running, max_weeks=REACH, rng=rng, replicates=DRAWS)
    best = windows.llr.max(initial=0.0)
    at = int(windows.building[windows.llr.argmax()]) if windows.llr.size else -1
    return ((drawn >= best - 1e-9).sum() + 1.0) / (DRAWS + 1.0), at


def lot_fleet(rng, ratio):
    """Return parts of twelve lots by band of age; the first fails ``ratio`` times as often."""
    rows = []
    for lot in range(12):
        size = int(rng.integers(15, 71))
        rate = 0.04 * (ratio if lot == 0 else 1.0)
        for part in range(size):
            # 0.25, 0.25 and 0.5 years in the first bands: 4 % fail in the first year
            for band, years in enumerate((0.25, 0.25, 0.5)):
                failed = rng.random() < 1.0 - (1.0 - rate) ** years
                rows.append((f"L{lot}", 100 * lot + part, band, failed, years * (0.5 if failed else 1.0)))
                if failed:
                    break
    pieces = pd.DataFrame(rows, columns=["lot", "spell_id", "band", "failed", "years"])
    return pieces.assign(component="run capacitor", part_no="P", weight=pieces["years"])


def study_lots(rng, replicates):
    """Return the lines of lots."""
    lines = []
    for ratio in (5.0, 3.0, 1.0):
        found, named, false, plain = [], [], [], []
        for _ in range(replicates):
            judged = judge_lots(lot_fleet(rng, ratio)).set_index("lot")
            alert = judged["alert"].astype(bool)
            right = bool(alert["L0"]) and ratio > 1
            found.append(right)
            named.append(int(alert.sum()))
            false.append((alert.sum() - right) / max(alert.sum(), 1))
            rate = judged["failed"] / judged["fitted"]
            plain.append(int((rate > 2 * judged["failed"].sum() / judged["fitted"].sum()).sum()) - (ratio > 1))
        raw = f"plain {np.mean(plain):.1f} false"
        if ratio > 1:
            least = 0.75 if ratio == 5 else 0.0
            lines.append(
                line_of(
                    f"19 a lot {ratio:g} times as bad is named", found, (least, 1.0), ">= 0.75" if least else "", raw
                )
            )
        lines.append(
            line_of(f"19 false among the lots named, one lot {ratio:g} times", false, (0.0, 0.10), "<= 0.10", "")
        )
    return lines


def run_study(replicates: int, seed: int = 20_264) -> list[Line]:
    """Run every part of the study."""
    rng = np.random.default_rng(seed)
    return [*study_callbacks(rng, replicates), *study_scans(rng, replicates), *study_lots(rng, replicates)]


if __name__ == "__main__":
    print_study(__doc__, run_study, seed=20_264)

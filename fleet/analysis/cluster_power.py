"""Could a heap of failures be seen here at all? What the scans would find in each building, and from which size on."""

from __future__ import annotations

import numpy as np
import pandas as pd

from fleet.analysis.cluster_search import MAX_WEEKS, ComponentWeeks, component_weeks, count_weeks, counted_failures
from fleet.analysis.cluster_watch import LEAST_WEEKS_BEFORE
from fleet.analysis.clusters import FALSE_ALARM, SEED
from fleet.analysis.poisson import FloatArray
from fleet.analysis.scan import drawn_maxima, running_shares
from fleet.analysis.scan_power import MOSTLY, chance_found, smallest_found
from fleet.analysis.scan_recent import chance_found_now, drawn_recent_maxima, recent_baseline
from fleet.answer import Answer, AnswerColumn
from fleet.errors import AnalysisError
from fleet.histories.answers import answer_from
from fleet.histories.build import Histories

COLUMNS = (
    AnswerColumn(name="building", kind="text", meaning="the building"),
    AnswerColumn(name="component", kind="text", meaning="the component"),
    AnswerColumn(name="usual", kind="number", meaning="usual failures in its busiest weeks", unit="failures"),
    AnswerColumn(name="chance_found", kind="number", meaning="chance that the heap is named, looking back"),
    AnswerColumn(name="smallest_ratio", kind="number", meaning="times the usual found four times in five; blank: none"),
    AnswerColumn(
        name="chance_now", kind="number", meaning="chance that such a heap in the last weeks is named by one look"
    ),
    AnswerColumn(name="property", kind="text", meaning="the complex"),
    AnswerColumn(name="note", kind="text", meaning="why a number is blank"),
)

_METHOD = (
    "The chance that a heap of the given ratio, all through a building's busiest weeks, passes the ratio of "
    "likelihoods that one fleet in twenty without a heap reaches (Monte Carlo); counts Poisson, the building's level "
    "as the log shows it. Only the heap's own weeks are tried: the scan finds a little more."
)


def weigh_scan(
    histories: Histories,
    *,
    ratio: float = 3.0,
    weeks: int = MAX_WEEKS,
    seed: int = SEED,
    replicates: int = 999,
) -> Answer:
    """Say what heaps of failures the scan could see in each building, so that silence is read for what it is.

    Parameters
    ----------
    histories : Histories
        The log as known on its as-of day.
    ratio : float
        How many times the usual the heap brings (over 1, to 60).
    weeks : int
        How long it lasts (1 to 52).
    seed, replicates : int
        Of the fleets drawn without a heap.

    Returns
    -------
    Answer
        One row a building and component that failed at all (`COLUMNS`), the least visible last.

    Raises
    ------
    AnalysisError
        When ``ratio`` or ``weeks`` is out of range.
    """
    if not (1.0 < ratio <= 60.0 and 1 <= weeks <= 52):
        msg = f"ratio = {ratio} must lie above 1, at most 60, weeks = {weeks} between 1 and 52"
        raise AnalysisError(msg)
    chains = counted_failures(histories)
    every = list(component_weeks(histories, chains))
    rng = np.random.default_rng(seed)
    back, now = _critical(every, rng, replicates, weeks, looks=count_weeks(histories) >= weeks + LEAST_WEEKS_BEFORE)
    rows = [_rows(one, ratio, weeks, back, now) for one in every]
    table = pd.concat(rows, ignore_index=True) if rows else pd.DataFrame(columns=[c.name for c in COLUMNS])
    table = table.sort_values(
        ["chance_found", "property", "building", "component"], ascending=[False, True, True, True]
    )
    return answer_from(
        histories,
        table,
        COLUMNS,
        name="scan power",
        method=_METHOD,
        n_used=len(chains),
        notes=_notes(table, ratio, weeks),
        settings={"ratio": ratio, "weeks": weeks, "seed": seed, "replicates": replicates, "false_alarm": FALSE_ALARM},
    )


def _critical(
    every: list[ComponentWeeks], rng: np.random.Generator, replicates: int, weeks: int, *, looks: bool
) -> tuple[float, float | None]:
    """Return the ratios of likelihoods that one fleet in twenty without a heap reaches, looking back and now."""
    back, now = np.zeros(replicates), np.zeros(replicates)
    for one in every:
        drawn = drawn_maxima(one.building, running_shares(one.usual), max_weeks=weeks, rng=rng, replicates=replicates)
        back = np.maximum(back, drawn)
        if looks:
            baseline = recent_baseline(one.seen, one.usual, max_weeks=weeks)
            now = np.maximum(now, drawn_recent_maxima(baseline, rng=rng, replicates=replicates))
    return float(np.quantile(back, 1.0 - FALSE_ALARM)), float(np.quantile(now, 1.0 - FALSE_ALARM)) if looks else None


def _rows(one: ComponentWeeks, ratio: float, weeks: int, back: float, now: float | None) -> pd.DataFrame:
    seen, total = one.seen.sum(axis=1), float(one.building.size)
    share = _busiest_share(one.usual, weeks)
    inside, outside = seen * share, seen * (1.0 - share)
    elsewhere = total - seen
    failed = seen > 0
    table = pd.DataFrame(
        {
            "building": one.buildings,
            "component": one.component,
            "usual": inside,
            "chance_found": [
                float(chance_found(i, o, ratio=ratio, elsewhere=e, critical=back))
                for i, o, e in zip(inside, outside, elsewhere, strict=True)
            ],
            "smallest_ratio": [
                smallest_found(i, o, elsewhere=e, critical=back)
                for i, o, e in zip(inside, outside, elsewhere, strict=True)
            ],
            "property": one.place,
        }
    )
    table["smallest_ratio"] = table["smallest_ratio"].where(np.isfinite(table["smallest_ratio"]))
    if now is None:
        table["chance_now"] = np.nan
        table["note"] = "the log is too short to say what is usual now"
    else:
        baseline = recent_baseline(one.seen, one.usual, max_weeks=weeks)
        table["chance_now"] = chance_found_now(baseline, ratio=ratio, critical=now)
        table["note"] = np.where(table["smallest_ratio"].isna(), "no heap tried, up to sixtyfold, is mostly found", "")
    kept: pd.DataFrame = table.loc[failed]
    return kept


def _busiest_share(usual: FloatArray, weeks: int) -> FloatArray:
    """Return the largest share of a building's failures that usually falls into so many weeks."""
    running = running_shares(usual)
    reach = min(weeks, running.shape[1] - 1)
    return np.asarray((running[:, reach:] - running[:, :-reach]).max(axis=1))


def _notes(table: pd.DataFrame, ratio: float, weeks: int) -> list[str]:
    if table.empty:
        return ["No component has failed: nothing can be said."]
    seen, typical = int((table["chance_found"] >= MOSTLY).sum()), float(table["chance_found"].median())
    chance = "under 1 %" if typical < 0.01 else f"about {typical:.0%}"
    return [
        f"{ratio:g} times the usual for {weeks} weeks would mostly be found in {seen} of {len(table)} pairs of "
        f"building and component; the typical pair has {table['usual'].median():.1f} failures in such weeks, and the "
        f"chance to find them there is {chance}. Where it is small, no alert says nothing."
    ]

"""Where and when did one component fail in a heap? The scan over buildings, components and weeks.

Each component of each property is scanned by itself (`fleet.analysis.scan`). Seasons, heat spells and gaps in the log
are part of what is expected, and so are buildings that always call more. The p-value allows for everything looked at:
all components, buildings and windows of weeks.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np
import pandas as pd

from fleet.analysis.cluster_search import MAX_WEEKS, ComponentWeeks, component_weeks, counted_failures
from fleet.analysis.poisson import FloatArray, garwood_limits
from fleet.analysis.scan import IntArray, Windows, candidate_windows, drawn_maxima, running_shares
from fleet.answer import Answer, AnswerColumn
from fleet.errors import AnalysisError
from fleet.histories.answers import answer_from
from fleet.histories.build import Histories
from fleet.settings import LEVEL

SEED = 20_260_401
FALSE_ALARM = 0.05
"""One false alarm in twenty whole fleets."""

LISTED = 20
"""So many candidates are listed, alert or not."""

COLUMNS = (
    AnswerColumn(name="building", kind="text", meaning="the building"),
    AnswerColumn(name="component", kind="text", meaning="the component that failed"),
    AnswerColumn(name="from_date", kind="date", meaning="first day of the window's first week"),
    AnswerColumn(name="to_date", kind="date", meaning="last day of the window's last week"),
    AnswerColumn(name="observed", kind="count", meaning="failures in the window"),
    AnswerColumn(name="expected", kind="number", meaning="failures to expect there, by building and by week"),
    AnswerColumn(name="ratio", kind="number", meaning="observed ÷ expected"),
    AnswerColumn(name="p_value", kind="number", meaning="chance of such a heap anywhere in the fleet"),
    AnswerColumn(name="alert", kind="yesno", meaning="yes at one false alarm in twenty whole fleets"),
    AnswerColumn(name="llr", kind="number", meaning="log likelihood ratio of a raised rate against none"),
    AnswerColumn(
        name="always_ratio", kind="number", meaning="the building's failures of the component at all times ÷ usual"
    ),
    AnswerColumn(name="always_low", kind="number", meaning="low end of always_ratio, exact 90 %"),
    AnswerColumn(name="always_high", kind="number", meaning="high end of always_ratio"),
    AnswerColumn(name="property", kind="text", meaning="the complex"),
    AnswerColumn(name="note", kind="text", meaning="what to know about this row"),
)

_METHOD = (
    "Space-time scan (Kulldorff's likelihood ratio) of each component and property, each building's failures taken as "
    "given and the weeks' usual shares from season, heat and time at risk; p-value of the largest ratio by Monte Carlo."
)


def scan_clusters(
    histories: Histories, *, seed: int = SEED, replicates: int = 999, max_weeks: int = MAX_WEEKS
) -> Answer:
    """Say where a component failed in a heap: building, weeks, and how likely chance alone makes such a heap.

    Parameters
    ----------
    histories : Histories
        The log as known on its as-of day.
    seed : int
        Seed of the drawn fleets.
    replicates : int
        Fleets drawn without a cluster (19 to 99 999); the smallest p-value possible is 1/(replicates + 1).
    max_weeks : int
        Longest window, weeks (1 to 52).

    Returns
    -------
    Answer
        The most likely windows that don't overlap within a building and component, smallest p-value first
        (`COLUMNS`); only rows with an alert are named as clusters.

    Raises
    ------
    AnalysisError
        When ``replicates`` or ``max_weeks`` is out of range.

    Notes
    -----
    A building that is always bad isn't found here (its failures are taken as given): ask ``rates --by building``. A
    spell that hits a component in every building at once shows only as far as other components didn't share it.
    """
    if not (19 <= replicates <= 99_999 and 1 <= max_weeks <= 52):
        msg = f"replicates = {replicates} must lie between 19 and 99999, max_weeks = {max_weeks} between 1 and 52"
        raise AnalysisError(msg)
    chains, first = counted_failures(histories), histories.window[0]
    scanned = _Scan(rng=np.random.default_rng(seed), replicates=replicates, max_weeks=max_weeks)
    candidates, largest = _scan_all(histories, chains, scanned)
    table = _table(candidates, largest, first, histories.as_of)
    return answer_from(
        histories,
        table,
        COLUMNS,
        name="clusters",
        method=_METHOD,
        n_used=len(chains),
        notes=_notes(table, chains, max_weeks, histories),
        settings={"seed": seed, "replicates": replicates, "max_weeks": max_weeks, "false_alarm": FALSE_ALARM},
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Scan:
    rng: np.random.Generator
    replicates: int
    max_weeks: int


def _scan_all(histories: Histories, chains: pd.DataFrame, scan: _Scan) -> tuple[pd.DataFrame, FloatArray]:
    """Return the candidates, and the largest ratio of each fleet drawn without a cluster."""
    largest = np.zeros(scan.replicates)
    found = [pd.DataFrame(columns=["building", "first_week", "last_week", "observed", "expected", "llr"])]
    for weeks in component_weeks(histories, chains):
        running = running_shares(weeks.usual)
        windows = candidate_windows(weeks.building, weeks.week, running, max_weeks=scan.max_weeks)
        drawn = drawn_maxima(
            weeks.building, running, max_weeks=scan.max_weeks, rng=scan.rng, replicates=scan.replicates
        )
        largest = np.maximum(largest, drawn)
        best = best_apart(windows, weeks.buildings)
        found.append(best.assign(property=weeks.place, component=weeks.component, **_always(weeks, best)))
    kept = [frame for frame in found if len(frame)]
    return (pd.concat(kept, ignore_index=True) if kept else found[0]), largest


def _always(weeks: ComponentWeeks, best: pd.DataFrame) -> dict[str, FloatArray]:
    """Say how each row's building stands at all times: one that is always high is no spell."""
    at = weeks.buildings.get_indexer(pd.Index(best["building"]))
    seen, usual = weeks.seen.sum(axis=1)[at], weeks.usual.sum(axis=1)[at]
    with np.errstate(divide="ignore", invalid="ignore"):
        limits = garwood_limits(seen, usual, LEVEL)
        return {"always_ratio": seen / usual, "always_low": limits[0], "always_high": limits[1]}


def best_apart(windows: Windows, names: pd.Index) -> pd.DataFrame:
    """Return the best windows, no two of one building overlapping in time."""
    kept: list[int] = []
    taken: dict[int, list[tuple[int, int]]] = {}
    for i in np.argsort(-windows.llr, kind="stable"):
        if windows.llr[i] <= 0:
            continue
        span = (int(windows.first_week[i]), int(windows.last_week[i]))
        spans = taken.setdefault(int(windows.building[i]), [])
        if all(span[1] < first or last < span[0] for first, last in spans):
            spans.append(span)
            kept.append(int(i))
    return pd.DataFrame(
        {
            "building": names[windows.building[kept]],
            "first_week": windows.first_week[kept],
            "last_week": windows.last_week[kept],
            "observed": windows.observed[kept],
            "expected": windows.expected[kept],
            "llr": windows.llr[kept],
        }
    )


def _table(candidates: pd.DataFrame, largest: FloatArray, first: dt.date, as_of: dt.date) -> pd.DataFrame:
    if candidates.empty:
        return pd.DataFrame(columns=[c.name for c in COLUMNS])
    table = candidates.assign(p_value=chance_of_larger(candidates["llr"].to_numpy(), largest))
    table["alert"] = np.where(table["p_value"] <= FALSE_ALARM, "yes", "no")
    table["ratio"] = table["observed"] / table["expected"]
    table["from_date"] = pd.Series(
        [week_begins(first, w) for w in table["first_week"]], index=table.index, dtype=object
    )
    table["to_date"] = pd.Series(
        [min(week_begins(first, w + 1) - dt.timedelta(days=1), as_of) for w in table["last_week"]],
        index=table.index,
        dtype=object,
    )
    table["note"] = np.where(table["alert"] == "yes", "", "chance makes such a heap: not named")
    table = table.sort_values(["p_value", "llr", "property", "building"], ascending=[True, False, True, True])
    return table.loc[(table["alert"] == "yes") | (np.arange(len(table)) < LISTED)]


def chance_of_larger(ratios: FloatArray, largest: FloatArray) -> FloatArray:
    """Return the share of fleets without a heap whose largest ratio reaches each of these, the real one among them."""
    rank = (largest[None, :] >= ratios[:, None] - 1e-9).sum(axis=1)
    return np.asarray((rank + 1.0) / (largest.size + 1.0))


def week_begins(first: dt.date, week: IntArray | int) -> dt.date:
    """Return the first day of a week counted from the log's first day."""
    return first + dt.timedelta(days=7 * int(week))


def _notes(table: pd.DataFrame, chains: pd.DataFrame, max_weeks: int, histories: Histories) -> list[str]:
    n = int((table["alert"] == "yes").sum())
    notes = [
        f"{n} of {len(table)} candidates {'is' if n == 1 else 'are'} more than chance makes of this many components, "
        "buildings and weeks; the others are listed to look at, not as clusters."
    ]
    cells = chains.groupby(["property", "component", "building"]).size()
    years = max((histories.window[1] - histories.window[0]).days + 1, 1) / 7.0
    if len(cells):
        usual = float(cells.median()) * min(max_weeks / years, 1.0)
        notes.append(
            f"A building and component that failed at all has typically {usual:.2f} failures in {max_weeks} weeks. "
            "Where under about 5 are expected, a threefold quarter is mostly invisible, so no alert is no all-clear."
        )
    return notes

"""The whole curve behind a life: the share still working by age, the laws beside it, and what share each cause ends."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd

from fleet.analysis.life_chosen import BIRTHS
from fleet.analysis.life_data import ENDINGS, LOOK_AHEAD_YEARS, read_lives
from fleet.analysis.life_estimate import LifeEstimate
from fleet.analysis.life_groups import POOLING, LifeQuestion, estimate_groups, groups_of
from fleet.analysis.life_rows import known_curve
from fleet.analysis.product_limit import FEWEST_AT_RISK, ProductLimit, cumulative_incidence
from fleet.answer import Answer, AnswerColumn
from fleet.errors import AnalysisError
from fleet.histories.answers import answer_from
from fleet.histories.build import Histories
from fleet.settings import LEVEL

CAUSES = ("failed", "weak", "preventive", "upgrade", "unknown", "unit retired")
"""What can end a life in service; the log's gaps and end only cut the view of it."""

CURVE_COLUMNS = (
    AnswerColumn(name="property", kind="text", meaning="blank = all together"),
    AnswerColumn(name="component", kind="text", meaning="whose parts"),
    AnswerColumn(
        name="age", kind="number", meaning="age of an observed failure, or where the curve begins", unit="years"
    ),
    AnswerColumn(name="at_risk", kind="count", meaning="lives of known age at risk at that age"),
    AnswerColumn(name="failures", kind="count", meaning="failures at that age"),
    AnswerColumn(name="survival", kind="number", meaning="share still working after it (product limit)"),
    AnswerColumn(name="low", kind="number", meaning="lower bound of that share (log-log)"),
    AnswerColumn(name="high", kind="number", meaning="upper bound of that share"),
    AnswerColumn(name="weibull", kind="number", meaning="the same share by the fitted Weibull"),
    AnswerColumn(name="average", kind="number", meaning="the same share by the averaged laws"),
    AnswerColumn(name="note", kind="text", meaning="why there is no curve or no law"),
)

CAUSE_COLUMNS = (
    AnswerColumn(name="property", kind="text", meaning="blank = all together"),
    AnswerColumn(name="component", kind="text", meaning="whose parts"),
    AnswerColumn(name="age", kind="number", meaning="by this age", unit="years"),
    AnswerColumn(name="cause", kind="text", meaning="what ended the life"),
    AnswerColumn(name="share", kind="number", meaning="share of parts ended by it, the other causes at work too"),
    AnswerColumn(name="sd", kind="number", meaning="standard error of that share"),
    AnswerColumn(name="lives", kind="count", meaning="lives ended by it, up to any age"),
    AnswerColumn(name="note", kind="text", meaning="why a share is blank"),
)


def trace_life_curve(
    histories: Histories,
    component: str,
    *,
    by: Sequence[str] = (),
    level: float = LEVEL,
    ending: str = ENDINGS[0],
    births: str = BIRTHS[0],
    look_ahead_years: float = LOOK_AHEAD_YEARS,
    pooling: str = POOLING[0],
) -> Answer:
    """Say what share of a component's parts still works at each age, with the risk set and the fitted laws beside it.

    Parameters
    ----------
    component : str
    by, level, ending, births, look_ahead_years, pooling
        As for `fleet.analysis.life.estimate_life`, whose laws these are.

    Returns
    -------
    Answer
        One row a group and age of failure, after one where the curve begins (`CURVE_COLUMNS`). Shares are of those
        working where it begins: the first age with ten lives of known age at risk.

    Raises
    ------
    AnalysisError
        If the log has no life of the component.
    """
    asked = LifeQuestion(
        by=tuple(by), level=level, ending=ending, births=births, look_ahead_years=look_ahead_years, pooling=pooling
    )
    every = _of_component(histories, component, asked.by)
    rows: list[dict[str, Any]] = []
    used = 0
    for one in estimate_groups(every, component, asked):
        curve = known_curve(one.lives, level, one.estimate.births)
        used += len(one.lives.safe if one.estimate.births == BIRTHS[1] else one.lives.known)
        rows += [{"component": component, **one.key, **row} for row in _curve_rows(curve, one.estimate)]
    return answer_from(
        histories,
        _table(rows, CURVE_COLUMNS, asked.by),
        _columns(CURVE_COLUMNS, asked.by),
        name="life curve",
        method="Product limit (Kaplan and Meier 1958) with entry ages and log-log limits; laws as in life.",
        n_used=used,
        notes=[
            f"The curve uses lives of known age only, and begins and is to be read where {FEWEST_AT_RISK} are at risk.",
            "A part removed as weak counts as failing midway through the look-ahead, as far as it counts as failing.",
            "The laws are of all parts of a row together; where life weighs kinds of units, its note says by how much "
            "its B10 and median differ from these.",
        ],
        settings={"component": component, **asked.settings},
    )


def split_life_ends(
    histories: Histories, component: str, *, by: Sequence[str] = (), ages: Sequence[float] = (1.0, 2.0, 3.0, 5.0, 10.0)
) -> Answer:
    """Say what share of a component's parts each cause has ended by given ages, all causes at work together.

    Parameters
    ----------
    component : str
    by : sequence of str
        Columns to group by.
    ages : sequence of float
        Years; a share beyond the last age with ten lives at risk is blank.

    Returns
    -------
    Answer
        One row a group, age and cause (`CAUSE_COLUMNS`).

    Raises
    ------
    AnalysisError
        If the log has no life of the component.

    Notes
    -----
    Cumulative incidence (Aalen and Johansen 1978) from lives born in the log. This, not one minus the share of
    `trace_life_curve`, is what part demand needs: a part changed as prevention can't fail any more.
    """
    by = tuple(dict.fromkeys(by))
    every = _of_component(histories, component, by)
    rows: list[dict[str, Any]] = []
    for key, group in groups_of(every, by):
        rows += [{"component": component, **key, **row} for row in _cause_rows(group[group["birth"] == "known"], ages)]
    return answer_from(
        histories,
        _table(rows, CAUSE_COLUMNS, by),
        _columns(CAUSE_COLUMNS, by),
        name="life ends",
        method="Cumulative incidence of competing causes (Aalen and Johansen 1978), lives born in the log.",
        n_used=int((every["birth"] == "known").sum()),
        settings={"component": component, "by": by, "ages": tuple(ages)},
    )


def _of_component(histories: Histories, component: str, by: tuple[str, ...]) -> pd.DataFrame:
    frame = read_lives(histories, by)
    every = frame[frame["component"] == component]
    if every.empty:
        seen = ", ".join(sorted(frame["component"].unique()))
        msg = f"the log has no life of a part {component!r}; it has {seen}"
        raise AnalysisError(msg)
    return every


def _curve_rows(curve: ProductLimit | None, estimate: LifeEstimate) -> list[dict[str, Any]]:
    if curve is None:
        return [{"note": f"never {FEWEST_AT_RISK} lives of known age at risk"}]
    ages = np.concatenate([[curve.starts_at], curve.ages])
    rows: list[dict[str, Any]] = [
        {
            "age": curve.starts_at,
            "at_risk": curve.at_risk_at_start,
            "failures": 0,
            "survival": 1.0,
            "low": 1.0,
            "high": 1.0,
        }
    ]
    columns = zip(curve.ages, curve.at_risk, curve.failures, curve.survival, curve.low, curve.high, strict=True)
    names = ("age", "at_risk", "failures", "survival", "low", "high")
    rows += [dict(zip(names, map(float, values), strict=True)) for values in columns]
    if estimate.average is None:
        return [row | {"note": "too few failures for a law"} for row in rows]
    average = estimate.average.survival(ages)
    first = estimate.average.regions[0].fit
    weibull = first.law.survival(first.theta, ages)
    return [
        row | {"weibull": float(w / weibull[0]), "average": float(a / average[0]), "note": ""}
        for row, w, a in zip(rows, weibull, average, strict=True)
    ]


def _cause_rows(group: pd.DataFrame, ages: Sequence[float]) -> list[dict[str, Any]]:
    watched = group["watched"].to_numpy(dtype=np.float64)
    ending = group["ended"].map({cause: place for place, cause in enumerate(CAUSES)}).fillna(-1).to_numpy(dtype=np.intp)
    ends = np.bincount(ending[ending >= 0], minlength=len(CAUSES))
    found = cumulative_incidence(np.zeros(watched.size), watched, ending, CAUSES)
    last = float(np.sort(watched)[-FEWEST_AT_RISK]) if watched.size >= FEWEST_AT_RISK else -1.0
    rows = []
    for age in ages:
        shown = found is not None and age <= last
        place = int(np.searchsorted(found.ages, age, side="right")) - 1 if found is not None else -1
        for nth, cause in enumerate(CAUSES):
            share, sd = (np.nan, np.nan) if not shown else (0.0, 0.0)
            if found is not None and shown and place >= 0:
                share, sd = float(found.share[nth, place]), float(found.sd[nth, place])
            note = "" if shown else f"fewer than {FEWEST_AT_RISK} lives were watched to that age"
            rows.append(
                {"age": float(age), "cause": cause, "share": share, "sd": sd, "lives": int(ends[nth]), "note": note}
            )
    return rows


def _columns(columns: tuple[AnswerColumn, ...], by: tuple[str, ...]) -> list[AnswerColumn]:
    kept = [c for c in columns if not (c.name == "property" and "property" in by)]
    place = [c.name for c in kept].index("component") + 1
    groups = [AnswerColumn(name=name, kind="text", meaning="grouping column") for name in by]
    return [*kept[:place], *groups, *kept[place:]]


def _table(rows: list[dict[str, Any]], columns: tuple[AnswerColumn, ...], by: tuple[str, ...]) -> pd.DataFrame:
    table = pd.DataFrame(rows, columns=[c.name for c in _columns(columns, by)])
    if "property" not in by:
        table["property"] = ""
    return table.assign(note=table["note"].fillna(""))

"""Do parts of one family, type or lot last longer than others', and how much? Ratios of lives between groups.

Groups are taken to wear alike: one law and one shape, each group a scale of its own. Whether the scales differ at all
is a likelihood-ratio test of one scale against several; how much one differs is the ratio of its scale to that of the
others together (or of a named group), which then is the ratio of every age: of B10, of the median. Whether groups wear
alike is tested the same way and said where it doubts the ratio.
Sources: W. Q. Meeker and L. A. Escobar, Statistical Methods for Reliability Data (1998), sections 8.3 and 17.4, ratios
of lives in a regression on log age (from memory); Y. Benjamini and Y. Hochberg, J. R. Stat. Soc. B 57 (1995), false
discoveries. Checked in tests/unit/test_life_compare.py by simulation and in tests/reference/test_reference_life.py.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd
from scipy import special

from fleet.analysis.life_chosen import BIRTHS, ChosenLives, choose_lives
from fleet.analysis.life_data import ENDINGS, LOOK_AHEAD_YEARS, lives_of, read_lives
from fleet.analysis.life_fit import LawFit, Likelihood, fit_law, starting_point
from fleet.analysis.life_groups import LifeQuestion, groups_of
from fleet.analysis.life_laws import WEIBULL, Law
from fleet.analysis.poisson import FloatArray, benjamini_hochberg
from fleet.analysis.renewal_age import JoinedLikelihood
from fleet.answer import Answer, AnswerColumn
from fleet.errors import AnalysisError
from fleet.histories.answers import answer_from
from fleet.histories.build import Histories
from fleet.settings import LEVEL
from fleet.trade.components import COMPONENTS

FEWEST_TO_COMPARE = 5
"""A group with fewer failures than this isn't compared: chance alone would rule its ratio."""

FALSE_SHARE = 0.10
"""Of the groups said to differ, at most this share is expected not to."""

COLUMNS = (
    AnswerColumn(name="property", kind="text", meaning="blank = all together"),
    AnswerColumn(name="component", kind="text", meaning="whose parts"),
    AnswerColumn(name="failures", kind="count", meaning="lives used that ended in a failure"),
    AnswerColumn(name="part_years", kind="number", meaning="time watched", unit="part-years"),
    AnswerColumn(name="against", kind="text", meaning="what the ratio is taken to: the others together, or a group"),
    AnswerColumn(name="ratio", kind="number", meaning="ages of this group over ages of those, at equal wear"),
    AnswerColumn(name="ratio_low", kind="number", meaning="lower bound of the ratio"),
    AnswerColumn(name="ratio_high", kind="number", meaning="upper bound of the ratio"),
    AnswerColumn(name="p_value", kind="number", meaning="chance of so unequal a ratio were lives alike"),
    AnswerColumn(name="differs", kind="yesno", meaning="yes: after false-discovery control over all rows"),
    AnswerColumn(name="p_groups", kind="number", meaning="chance of so unequal lives were all the groups alike"),
    AnswerColumn(name="p_shapes", kind="number", meaning="chance of so unequal shapes did all groups wear alike"),
    AnswerColumn(name="note", kind="text", meaning="why a cell is blank, what doubts the ratio"),
)
"""Every column but those grouped by, which follow ``component``."""

_FARTHEST = 8.0


def compare_lives(
    histories: Histories,
    *,
    by: Sequence[str],
    component: str | None = None,
    against: str | None = None,
    level: float = LEVEL,
    births: str = BIRTHS[0],
    ending: str = ENDINGS[0],
    look_ahead_years: float = LOOK_AHEAD_YEARS,
) -> Answer:
    """Say which groups' parts last longer or less long than others', by what ratio, and whether it may be chance.

    Parameters
    ----------
    by : sequence of str
        Equipment columns, ``part_no`` or ``lot`` to compare by; at least one.
    component : str, optional
        Keep one component.
    against : str, optional
        The group ratios are taken to, its values joined by commas as in ``by``; default: all others together.
    level : float
        Two-sided level of the ratios' limits.
    births, ending, look_ahead_years
        As for `fleet.analysis.life.estimate_life`.

    Returns
    -------
    Answer
        One row a component and group (`COLUMNS`). A ratio of 0.5 says that its parts reach any state of wear in half
        the time. Ratios are blank, the reason in ``note``, where a side has under five failures.

    Raises
    ------
    SchemaError
        If a grouping column doesn't exist.
    AnalysisError
        If there is nothing to group by, or ``component``, ``against`` or another word names nothing known.

    Notes
    -----
    Weibull laws of one shape, a scale for each side; limits and p-values by the profile likelihood ratio.
    """
    asked = LifeQuestion(
        by=tuple(by), level=level, ending=ending, births=births, look_ahead_years=look_ahead_years, pooling="none"
    )
    if not asked.by:
        msg = "by is empty: name a column whose groups are to be compared, such as model_family"
        raise AnalysisError(msg)
    frame = read_lives(histories, asked.by)
    names = [c.name for c in COMPONENTS if c.is_part and c.name in set(frame["component"])]
    if component is not None and component not in names:
        msg = f"the log has no life of a part {component!r}; it has {', '.join(names)}"
        raise AnalysisError(msg)
    rows: list[dict[str, Any]] = []
    for name in names if component is None else [component]:
        rows += _component_rows(frame[frame["component"] == name], name, asked, against)
    if against is not None and not any(",".join(row[by] for by in asked.by) == against for row in rows):
        msg = f"against = {against!r} is no group by {', '.join(asked.by)} in this log"
        raise AnalysisError(msg)
    columns = _columns(asked.by)
    table = _with_alerts(pd.DataFrame(rows, columns=[c.name for c in columns]))
    if "property" not in asked.by:
        table["property"] = ""
    tried = int(table["p_value"].notna().sum())
    return answer_from(
        histories,
        table,
        columns,
        name="life comparison",
        method="Ratios of Weibull scales at one shape, by profile likelihood; Benjamini and Hochberg (1995).",
        n_used=int(table["failures"].sum()),
        notes=[
            f"{tried} comparisons were tried; of those said to differ at most {FALSE_SHARE:.0%} are expected not to.",
            "Where groups differ in what their units go through (age, building, heat), so may their parts' lives.",
        ],
        settings={**asked.settings, "component": component, "against": against},
    )


def _component_rows(every: pd.DataFrame, name: str, asked: LifeQuestion, against: str | None) -> list[dict[str, Any]]:
    groups = list(groups_of(every, asked.by))
    chosen = [
        choose_lives(
            lives_of(rows, ending=asked.ending, look_ahead_years=asked.look_ahead_years, like=every), asked.births
        )
        for _, rows in groups
    ]
    told = [",".join(key.values()) for key, _ in groups]
    overall = _overall([one for one in chosen if one.events >= FEWEST_TO_COMPARE])
    made = []
    for nth, (key, _) in enumerate(groups):
        others = [one for place, one in enumerate(chosen) if place != nth and against in (None, told[place])]
        row = {"component": name, **key, "failures": chosen[nth].counts["failures"], "part_years": chosen[nth].years}
        row |= {"against": "the others" if against is None else against, **overall, "note": ""}
        found = _compare_one(chosen[nth], others, asked.level, overall)
        made.append(row | ({"note": "the group that ratios are taken to"} if told[nth] == against else found))
    return made


def _compare_one(
    one: ChosenLives, others: list[ChosenLives], level: float, overall: dict[str, float]
) -> dict[str, Any]:
    """Return the ratio of one group's ages to the others', its limits, and its p-value."""
    failed = sum(other.events for other in others)
    if not others:
        return {"note": "nothing to take a ratio to"}
    if one.events < FEWEST_TO_COMPARE or failed < FEWEST_TO_COMPARE:
        few = f"{one.events} failures against {failed}"
        return {"note": f"{few}: at least {FEWEST_TO_COMPARE} on each side are needed to compare"}
    rest = JoinedLikelihood(parts=tuple(other.likelihood for other in others))
    thetas, best = _fit_sides([one.likelihood, rest], _start([one, *others]))
    if thetas is None:
        return {"note": "the lives seen hold no law of both sides"}
    log_ratio, near = float(thetas[0, 0] - thetas[1, 0]), thetas[1]

    def drop(at: float) -> float:
        nonlocal near
        fit = _fit_at_ratio(one, rest, at, near)
        # the next ratio asked about is never far from the last
        near = thetas[1] if fit.trouble else fit.theta
        return math.inf if fit.trouble else 2.0 * (best - fit.log_likelihood)

    asked = float(special.chdtri(1.0, 1.0 - level))
    low, high = (_limit(drop, log_ratio, way, asked) for way in (-1.0, 1.0))
    doubt = "groups don't wear alike: the ratio is not the same at every age" if overall["p_shapes"] < 0.05 else ""
    return {
        "ratio": math.exp(log_ratio),
        "ratio_low": math.exp(low),
        "ratio_high": math.exp(high),
        "p_value": float(special.chdtrc(1.0, max(drop(0.0), 0.0))),
        "note": doubt,
    }


def _limit(drop: Callable[[float], float], best: float, way: float, asked: float) -> float:
    """Return where the profile has fallen as far as asked: steps exact where it is quadratic."""
    step, near, far = 0.2, 0.0, math.inf
    for _ in range(40):
        fallen = drop(best + way * step)
        if abs(fallen - asked) < 1e-3 * asked:
            break
        near, far = (step, far) if fallen < asked else (near, step)
        aim = step * math.sqrt(asked / fallen) if 0.0 < fallen < math.inf else math.inf
        step = aim if near < aim < far else (2.0 * near if math.isinf(far) else 0.5 * (near + far))
        if step > _FARTHEST:
            return way * math.inf
    return best + way * step


def _overall(groups: list[ChosenLives]) -> dict[str, float]:
    """Return the p-values of all groups being alike in scale, and in shape."""
    blank = {"p_groups": math.nan, "p_shapes": math.nan}
    if len(groups) < 2:
        return blank
    start = _start(groups)
    shared = fit_law(WEIBULL, JoinedLikelihood(parts=tuple(group.likelihood for group in groups)), start)
    thetas, best = _fit_sides([group.likelihood for group in groups], start)
    if shared.trouble or thetas is None:
        return blank
    own = [fit_law(WEIBULL, group.likelihood, theta) for group, theta in zip(groups, thetas, strict=True)]
    free = float(len(groups) - 1)
    found = {"p_groups": float(special.chdtrc(free, max(2.0 * (best - shared.log_likelihood), 0.0)))}
    apart = math.fsum(fit.log_likelihood for fit in own)
    if all(not fit.trouble for fit in own):
        found["p_shapes"] = float(special.chdtrc(free, max(2.0 * (apart - best), 0.0)))
    return blank | found


def _fit_sides(sides: Sequence[Likelihood], start: FloatArray) -> tuple[FloatArray | None, float]:
    """Fit a scale to each side and one shape to all: thetas and log-likelihood; None where it won't settle."""
    count = len(sides)
    at = np.append(np.full(count, start[0]), start[1])
    value, damping = -math.inf, 0.0

    def thetas(point: FloatArray) -> FloatArray:
        return np.column_stack([point[:-1], np.full(count, point[-1])])

    for _ in range(60):
        value, slope, bend = 0.0, np.zeros(count + 1), np.zeros((count + 1, count + 1))
        for nth, (side, theta) in enumerate(zip(sides, thetas(at), strict=True)):
            at_side, one, two = side.expand(WEIBULL, theta)
            value += at_side
            slope[[nth, count]] += one
            bend[np.ix_([nth, count], [nth, count])] += two
        values, vectors = np.linalg.eigh(-bend)
        move = vectors @ ((vectors.T @ slope) / (np.maximum(np.abs(values), 1e-8) + damping))
        move = move / max(float(np.abs(move).max()), 1.0)
        if abs(float(slope @ move)) < 1e-8:
            return (thetas(at), value) if values.min() > 1e-9 else (None, value)
        ahead = math.fsum(side.value(WEIBULL, theta) for side, theta in zip(sides, thetas(at + move), strict=True))
        if ahead >= value:
            at, damping = at + move, damping / 10.0
        else:
            damping = max(1e-3 * float(np.abs(bend).max()), damping * 8.0)
    return None, value


def _fit_at_ratio(one: ChosenLives, rest: Likelihood, log_ratio: float, start: FloatArray) -> LawFit:
    """Fit scale and shape with the ratio of one group's scale to the rest's held."""
    held = JoinedLikelihood(parts=(_Tilted(inner=one.likelihood, log_ratio=log_ratio), rest))
    return fit_law(WEIBULL, held, start)


def _start(groups: Sequence[ChosenLives]) -> FloatArray:
    return starting_point(WEIBULL, sum(one.events for one in groups), sum(one.years for one in groups))


def _with_alerts(table: pd.DataFrame) -> pd.DataFrame:
    tried = table["p_value"].notna().to_numpy()
    differs = np.full(len(table), "", dtype=object)
    if tried.any():
        found = benjamini_hochberg(table.loc[tried, "p_value"].to_numpy(dtype=np.float64), FALSE_SHARE)
        differs[tried] = np.where(found, "yes", "no")
    return table.assign(differs=differs)


def _columns(by: Sequence[str]) -> list[AnswerColumn]:
    kept = [c for c in COLUMNS if not (c.name == "property" and "property" in by)]
    place = [c.name for c in kept].index("component") + 1
    groups = [AnswerColumn(name=name, kind="text", meaning="grouping column") for name in by]
    return [*kept[:place], *groups, *kept[place:]]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Tilted:
    """A likelihood with a scale of its own: the common one times a ratio."""

    inner: Likelihood = field(repr=False)
    log_ratio: float

    def value(self, law: Law, theta: FloatArray) -> float:
        return self.inner.value(law, theta + np.array([self.log_ratio, 0.0]))

    def values(self, law: Law, thetas: FloatArray) -> FloatArray:
        return self.inner.values(law, thetas + np.array([self.log_ratio, 0.0]))

    def expand(self, law: Law, theta: FloatArray) -> tuple[float, FloatArray, FloatArray]:
        return self.inner.expand(law, theta + np.array([self.log_ratio, 0.0]))

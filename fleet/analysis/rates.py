"""How often does each component fail, by compressor type, family, building or any equipment column?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from fleet.analysis.adjusted import FEWEST_FAILURES, AdjustedRatio, adjusted_ratios
from fleet.analysis.heat_clock import Clock, check_clock, weigh_cells, weigh_pieces
from fleet.analysis.poisson import PairMethod, benjamini_hochberg, check_level
from fleet.analysis.rate_limits import check_interval, group_limits
from fleet.analysis.rate_ratios import GroupRatio, UnitCounts, group_ratio
from fleet.analysis.shrinkage import MIN_GROUPS, shrink_rates
from fleet.answer import Answer, AnswerColumn
from fleet.errors import AnalysisError
from fleet.histories.answers import answer_from
from fleet.histories.build import Histories
from fleet.settings import DAYS_PER_YEAR, LEVEL
from fleet.store.schema import GROUPING_COLUMNS, quote_identifier
from fleet.trade.components import COMPONENTS

FALSE_DISCOVERY = 0.10
"""Of the groups named in alerts, at most this share may be named by chance."""

GROUPINGS = (*GROUPING_COLUMNS, "age_band")
"""What failures may be grouped by: equipment columns, and the unit's age."""

COLUMNS = (
    AnswerColumn(name="property", kind="text", meaning="blank = all together"),
    AnswerColumn(name="component", kind="text", meaning="what failed; blank = all components"),
    AnswerColumn(name="failures", kind="count", meaning="failure chains at risk time"),
    AnswerColumn(name="unit_years", kind="number", meaning="time at risk", unit="unit-years of 365.25 days"),
    AnswerColumn(name="rate", kind="number", meaning="failures per unit-year", unit="per unit-year"),
    AnswerColumn(name="low", kind="number", meaning="lower bound of the rate", unit="per unit-year"),
    AnswerColumn(name="high", kind="number", meaning="upper bound of the rate", unit="per unit-year"),
    AnswerColumn(
        name="shrunk_rate", kind="number", meaning="rate with the strength of all groups", unit="per unit-year"
    ),
    AnswerColumn(name="shrunk_low", kind="number", meaning="its lower bound", unit="per unit-year"),
    AnswerColumn(name="shrunk_high", kind="number", meaning="its upper bound", unit="per unit-year"),
    AnswerColumn(
        name="ratio", kind="number", meaning="rate over that of the units outside (or of the group asked for)"
    ),
    AnswerColumn(name="ratio_low", kind="number", meaning="lower bound of the ratio"),
    AnswerColumn(name="ratio_high", kind="number", meaning="upper bound of the ratio"),
    AnswerColumn(
        name="smallest_ratio_seen",
        kind="number",
        meaning="smallest true ratio above 1 this much data would have shown four times in five; blank: none up to 100",
    ),
    AnswerColumn(name="adjusted_ratio", kind="number", meaning="the same after age, season, building and equipment"),
    AnswerColumn(name="adjusted_low", kind="number", meaning="lower bound of the adjusted ratio"),
    AnswerColumn(name="adjusted_high", kind="number", meaning="upper bound of the adjusted ratio"),
    AnswerColumn(
        name="p_high",
        kind="number",
        meaning="chance that its true rate is over 1.5 times the mean of all groups; blank where nothing is pooled",
    ),
    AnswerColumn(name="alert", kind="yesno", meaning="fails more often, after false-discovery control"),
    AnswerColumn(name="note", kind="text", meaning="why a cell is blank, or what the data could have shown"),
)

HIGH_TIMES = 1.5
"""``p_high`` is the chance that a group's true rate is over so many times the mean of all groups."""

METHOD = (
    "Failures over unit-years at risk; the wider of exact Poisson (Garwood 1936) and unit-clustered limits; "
    "gamma-Poisson shrinkage; ratios by the exact conditional test (Przyborowski and Wilenski 1940), widened where "
    "units differ; alerts after Benjamini-Hochberg at 10 %."
)

ADJUSTED_NOTE = (
    "Adjusted ratios compare units alike in age, season, building, compressor type and model family, by a regression "
    "with time at risk as exposure; trust them before the plain ratios."
)

POOLED_NOTE = (
    "Shrunk rates lean on the other groups as far as a group's own record is thin; their intervals also carry how "
    "unsure that leaning itself is."
)

WIDENED_NOTE = "Intervals are widened where units differ from one another by more than chance makes them."

MID_P_METHOD = METHOD.replace("exact Poisson (Garwood 1936)", "mid-P Poisson").replace("exact conditional", "mid-P")


@dataclass(frozen=True, slots=True)
class _Units:
    """One row a unit (and age band where asked): days at risk, the group it belongs to."""

    frame: pd.DataFrame
    groups: pd.DataFrame
    codes: npt.NDArray[np.int64]


def estimate_rates(
    histories: Histories,
    *,
    by: Sequence[str] = (),
    against: str | None = None,
    component: str | None = None,
    level: float = LEVEL,
    adjust: bool = True,
    interval: PairMethod = "exact",
    clock: Clock = "calendar",
) -> Answer:
    """Say how often each component fails per unit-year, for each group of units.

    Parameters
    ----------
    by : sequence of str
        Equipment columns (or ``age_band``) to group by; cells only, no margins.
    against : str, optional
        The value of the (single) grouping column that ratios are taken to; default: all units outside the group.
    component : str, optional
        Keep one component.
    level : float
        Two-sided level of every interval.
    adjust : bool
        Whether ratios are also adjusted by a regression; it takes longer.
    interval : {"exact", "mid-p"}
        How chance alone bounds rates and ratios: ``exact`` never covers less than the level, ``mid-p`` is shorter and
        covers it on average (exactly known: tests/studies/rates_study.py).
    clock : {"calendar", "heat"}
        Time at risk by the calendar, or weighed by heat: a day counts its cooling degree days over those of the
        fleet's average day at risk (5 % of it counts as calendar time), so that a unit-year stays comparable: all
        units together have the same unit-years on either clock. A day without weather takes its property's average
        for the month, a property without any counts calendar days, and a log without weather falls back on the
        calendar; the notes say so. See `fleet.analysis.heat_clock`.

    Returns
    -------
    Answer
        Table with the columns of ``COLUMNS`` and the grouping columns after ``component``; one row a component and
        group, then all components together (component blank).

    Raises
    ------
    SchemaError
        If a grouping column doesn't exist.
    AnalysisError
        If ``against`` or ``component`` names nothing in the log, or level, interval or clock is unusable.

    Notes
    -----
    A failure is a chain of visits for one fault, dated at its first report; failures in time taken out count as left
    out. A hard-start kit is at risk from the day it is known. With no failure the upper bound is the exact two-sided
    one; "0 per year" is never meant. A group's ``alert`` says it fails more often than the units outside.
    ``smallest_ratio_seen`` stands beside every ratio: a ratio near 1 whose data could only have shown a ratio of 4 is
    no sign that nothing is there. Shrunk rates are averaged over how sure the pooling itself is
    (`fleet.analysis.shrinkage`).
    """
    check_level(level)
    check_interval(interval)
    check_clock(clock)
    by = tuple(dict.fromkeys(by))
    histories.database.run_file("fleet.analysis", "rate_pieces")
    used, weighed = weigh_pieces(histories) if clock == "heat" else (clock, [])
    units = _read_units(histories, by)
    failures = histories.database.frame("select unit_id, component, age_band from history.rate_failure")
    names = _components(histories, component)
    against_code = _against_code(units, by, against)
    asked = [*names, ""] if component is None else names
    table = pd.concat(
        [_component_rows(name, units, failures, level, against_code, interval) for name in asked], ignore_index=True
    )
    if adjust and by:
        weigh = weigh_cells if used == "heat" else None
        adjusted = adjusted_ratios(histories, by, asked, against=against, level=level, weigh=weigh)
        table = _with_adjusted(table, adjusted, against_code, many=len(units.groups) > 1)
    table = _finish(table, units, by)
    columns = [c for c in COLUMNS if c.name != "property"] if "property" in by else list(COLUMNS)
    place = [c.name for c in columns].index("component") + 1
    groups = [AnswerColumn(name=name, kind="text", meaning="grouping column") for name in by]
    return answer_from(
        histories,
        table,
        [*columns[:place], *groups, *columns[place:]],
        name="rates",
        method=METHOD if interval == "exact" else MID_P_METHOD,
        n_used=int(table.loc[table["component"] == (component or ""), "failures"].sum()),
        notes=[*_notes(units, by, against, adjust=adjust), *weighed],
        excluded=_kitless(histories),
        settings={
            "by": by,
            "against": against,
            "component": component,
            "level": level,
            "interval": interval,
            "clock": used,
        },
    )


def _kitless(histories: Histories) -> dict[str, int]:
    count = int(histories.database.value("select n from history.kitless_failure"))
    return {"hard-start failures where no kit was known to be fitted": count} if count else {}


def _read_units(histories: Histories, by: tuple[str, ...]) -> _Units:
    columns = [quote_identifier(name, GROUPINGS) for name in by]
    pieces = "p.age_band" if "age_band" in by else "null as age_band"
    grouped = [f"coalesce(u.{column}::varchar, 'unknown') as {column}" for column in columns if column != '"age_band"']
    select = ", ".join(["u.unit_id", pieces, "sum(p.days) as days", "sum(p.kit_days) as kit_days", *grouped])
    frame = histories.database.frame(
        f"select {select} from history.rate_piece as p join history.unit as u using (unit_id) "  # noqa: S608
        "group by all order by all"
    )
    if not by:
        return _Units(frame, pd.DataFrame(index=[0]), np.zeros(len(frame), dtype=np.int64))
    keys = pd.MultiIndex.from_frame(frame[list(by)])
    codes, groups = pd.factorize(keys, sort=True)
    return _Units(frame, groups.to_frame(index=False).set_axis(list(by), axis=1), codes.astype(np.int64))


def _components(histories: Histories, component: str | None) -> list[str]:
    known = [c.name for c in COMPONENTS if c.counts_as_failure]
    if component is not None:
        if component not in known:
            msg = f"{component!r} is not a component; choose from {', '.join(known)}"
            raise AnalysisError(msg)
        return [component]
    seen = {
        row[0]
        for row in histories.database.rows(
            "select component from history.chain union select component from history.position"
        )
    }
    return [name for name in known if name in seen]


def _against_code(units: _Units, by: tuple[str, ...], against: str | None) -> int | None:
    if against is None:
        return None
    if len(by) != 1:
        msg = f"against = {against!r} needs exactly one grouping column; there are {len(by)}"
        raise AnalysisError(msg)
    found = np.flatnonzero(units.groups[by[0]].to_numpy() == against)
    if found.size == 0:
        msg = f"against = {against!r} is no value of {by[0]}; it has {', '.join(map(str, units.groups[by[0]][:12]))}"
        raise AnalysisError(msg)
    return int(found[0])


def _component_rows(
    component: str, units: _Units, failures: pd.DataFrame, level: float, against: int | None, interval: PairMethod
) -> pd.DataFrame:
    """Return one row a group for one component (blank: all together)."""
    chosen = failures if component == "" else failures[failures["component"] == component]
    exposure = units.frame["kit_days" if component == "hard start" else "days"].to_numpy(float) / DAYS_PER_YEAR
    seen = UnitCounts(groups=units.codes, counts=_counts_by_piece(chosen, units.frame), years=exposure)
    low, high = group_limits(seen.groups, seen.counts, seen.years, level, interval=interval)
    n, years = np.bincount(units.codes, weights=seen.counts), np.bincount(units.codes, weights=exposure)
    shrunk = shrink_rates(n, years, level=level)
    with np.errstate(divide="ignore", invalid="ignore"):
        rate = np.where(years > 0, n / years, np.nan)
    table = pd.DataFrame({"group": np.arange(len(n)), "failures": n.astype(int), "unit_years": years, "rate": rate})
    table["low"], table["high"] = low, high
    table["shrunk_rate"], table["shrunk_low"], table["shrunk_high"] = shrunk.mean, shrunk.low, shrunk.high
    table["p_high"] = shrunk.probability_above(HIGH_TIMES) if shrunk.pooled else np.nan
    table.insert(0, "component", component)
    ratios = [
        group_ratio(g, seen, level, against=against, interval=interval) if len(n) > 1 else GroupRatio()
        for g in range(len(n))
    ]
    table["ratio"], table["ratio_low"] = [r.ratio for r in ratios], [r.low for r in ratios]
    table["ratio_high"], table["p_value"] = [r.high for r in ratios], [r.p_value for r in ratios]
    table["smallest_ratio_seen"] = [r.smallest_seen for r in ratios]
    pooled = "" if shrunk.pooled or len(n) == 1 else shrunk.note
    table["note"] = [
        _joined(("" if y > 0 else "no time at risk", r.note, pooled)) for y, r in zip(years, ratios, strict=True)
    ]
    return table


def _counts_by_piece(failures: pd.DataFrame, pieces: pd.DataFrame) -> npt.NDArray[np.float64]:
    banded = pieces["age_band"].notna().any()
    keys = ["unit_id", "age_band"] if banded else ["unit_id"]
    if failures.empty:
        return np.zeros(len(pieces))
    counted = failures.groupby(keys).size()
    index = pd.MultiIndex.from_frame(pieces[keys]) if banded else pd.Index(pieces["unit_id"])
    return np.asarray(counted.reindex(index, fill_value=0).to_numpy(), dtype=np.float64)


def _with_adjusted(
    table: pd.DataFrame, adjusted: dict[tuple[str, int], AdjustedRatio], against: int | None, *, many: bool
) -> pd.DataFrame:
    """Add the adjusted ratios, or say why there is none."""
    keys = [(str(c), int(g)) for c, g in zip(table["component"], table["group"], strict=True)]
    table = table.assign(
        adjusted_ratio=[adjusted[key].ratio if key in adjusted else np.nan for key in keys],
        adjusted_low=[adjusted[key].low if key in adjusted else np.nan for key in keys],
        adjusted_high=[adjusted[key].high if key in adjusted else np.nan for key in keys],
    )
    said = [
        f"under {FEWEST_FAILURES} failures in all: not adjusted" if many and key not in adjusted and key[1] != against
        else "" for key in keys
    ]  # fmt: skip
    return table.assign(note=[_joined(pair) for pair in zip(table["note"], said, strict=True)])


def _joined(said: Sequence[str]) -> str:
    """Join clauses and whole sentences to one clause a reader can follow."""
    return "; ".join(part[:1].lower() + part[1:].rstrip(".") for part in said if part)


def _finish(table: pd.DataFrame, units: _Units, by: tuple[str, ...]) -> pd.DataFrame:
    table = table.copy()
    for name in ("adjusted_ratio", "adjusted_low", "adjusted_high"):
        if name not in table:
            table[name] = np.nan
    tested = table["component"] != ""
    named = np.zeros(len(table), dtype=bool)
    named[tested] = benjamini_hochberg(table.loc[tested, "p_value"].to_numpy(float), FALSE_DISCOVERY)
    # a blank ratio that was tested is without bound above: none failed on the other side
    table["alert"] = np.where(named & ~(table["ratio"] <= 1).to_numpy(), "yes", "no")
    if "property" not in by:
        table["property"] = ""
    for name in by:
        table[name] = units.groups[name].to_numpy()[table["group"].to_numpy()]
    return table


def _notes(units: _Units, by: tuple[str, ...], against: str | None, *, adjust: bool) -> list[str]:
    notes = []
    if by:
        other = f"the group {against}" if against else "all units outside the group"
        notes.append(
            f"Ratios compare each group with {other}; an alert names a group that fails more often, and of the groups "
            f"named at most {100 * FALSE_DISCOVERY:g} % are so by chance."
        )
        notes.append(
            "Beside every ratio stands the smallest true ratio this much data would have shown four times in five: "
            '"no difference" means none that large.'
        )
        if adjust:
            notes.append(ADJUSTED_NOTE)
        notes.append(
            "Fewer than three groups: rates stand alone, nothing is pooled."
            if len(units.groups) < MIN_GROUPS
            else POOLED_NOTE
        )
    notes.append("Rates are failures per unit-year in service and under observation, not calls and not per unit.")
    notes.append(WIDENED_NOTE)
    return notes

"""Which parts will be needed next season, in which building, and how sure is that?"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt
import pandas as pd

from fleet.answer import Answer, AnswerColumn
from fleet.errors import PlanError
from fleet.histories.answers import answer_from
from fleet.histories.build import Histories
from fleet.planning.intensity import KIND, draw_intensity
from fleet.planning.past_seasons import (
    PastSeasons,
    Season,
    codes_of,
    read_past_seasons,
    season_of,
    sum_columns,
    walking_order,
)
from fleet.planning.summers import SUMMERS, Summer, SummerDraws, draw_summers, draw_years

IntArray = npt.NDArray[np.int32]
FloatArray = npt.NDArray[np.float64]

DRAWS = 4_000
SEED = 20260401
WHYS = ("failed", "weak", "preventive")
KEY = ["property", "building", "part_no", "component", "why"]

COLUMNS = (
    AnswerColumn(name="property", kind="text", meaning="blank = all together"),
    AnswerColumn(name="building", kind="text", meaning="blank = all buildings"),
    AnswerColumn(name="part_no", kind="text", meaning="the catalogue's number"),
    AnswerColumn(name="component", kind="text", meaning="what it is a part of"),
    AnswerColumn(name="why", kind="text", meaning="failed, weak, preventive; blank = all"),
    AnswerColumn(name="mean", kind="number", meaning="pieces expected", unit="pieces in the season"),
    AnswerColumn(name="q05", kind="number", meaning="fewer only in one future of twenty", unit="pieces in the season"),
    AnswerColumn(name="q50", kind="number", meaning="as likely more as fewer", unit="pieces in the season"),
    AnswerColumn(name="q95", kind="number", meaning="more only in one future of twenty", unit="pieces in the season"),
    AnswerColumn(name="units", kind="count", meaning="units in service that take it"),
    AnswerColumn(name="note", kind="text", meaning="what the line rests on, what was left out"),
)

METHOD = (
    "Parts in service by family, compressor type and age; ridge Poisson regression of past seasons' fittings with "
    "buildings shrunk (gamma-Poisson); weather years drawn whole from the record; a year effect; Poisson needs."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class DemandForecast:
    """The needs of a season as drawn futures.

    Attributes
    ----------
    answer : Answer
        The table of the columns ``COLUMNS``.
    cells : DataFrame
        One row a property, building, part number, component and reason.
    draws : ndarray of shape (futures, cells)
        Pieces needed in each future; columns follow ``cells``. Sum draws, never quantiles.
    """

    answer: Answer
    season: Season
    summer: Summer
    cells: pd.DataFrame = field(repr=False)
    draws: IntArray = field(repr=False)
    notes: tuple[str, ...] = ()

    def summed(self, key: Sequence[str]) -> tuple[pd.DataFrame, IntArray]:
        """Return the distinct values of ``key`` and the needs summed to them, future by future."""
        codes, groups = codes_of(self.cells, list(key))
        return groups, sum_columns(self.draws, codes, len(groups))


def forecast_demand(
    histories: Histories,
    *,
    from_date: dt.date | None = None,
    to_date: dt.date | None = None,
    summer: Summer = "any",
    draws: int = DRAWS,
    seed: int = SEED,
) -> DemandForecast:
    """Forecast the pieces of every part number fitted in each building between two dates.

    Parameters
    ----------
    from_date, to_date : datetime.date, optional
        First and last day, both included; default 1 April to 30 September after the as-of day.
    summer : {"any", "hot", "normal", "mild"}
        Any year of the weather record, or its hottest, middle or coolest third.
    draws, seed : int
        How many futures, and where their chance starts.

    Returns
    -------
    DemandForecast

    Raises
    ------
    PlanError
        If the season makes no sense, lies wholly in the past, or the log saw no such season.

    Notes
    -----
    Pieces fitted because something failed, was found weak, or on rounds, which go on as the log shows them; upgrades
    are left out and counted; parts fitted for no recorded reason are shared out as the known ones of their component
    are (taken as failed where none is known). A unit takes
    the part its family, rating or history says; where none does, the line reads "part number unknown".
    """
    if summer not in SUMMERS:
        msg = f"summer = {summer!r}; choose from {', '.join(SUMMERS)}"
        raise PlanError(msg)
    season = season_of(histories.as_of, from_date, to_date)
    past = _with_reasons(read_past_seasons(histories, season))
    if past.risk.empty:
        days = f"{season.from_date:%d %B} and {season.to_date:%d %B}"
        msg = f"the log saw no unit in service between {days} of any past year"
        raise PlanError(msg)
    now = _parts_now(histories, season)
    rng = np.random.default_rng(seed)
    summers = _summers(rng, draws, past, summer)
    cells, matrix = _draw_cells(rng, draws, past, now, summers)
    table = _table(cells, matrix, now, past)
    table["place"] = walking_order(histories, table, "building")
    table = table.sort_values(["place", "component", "part_no", "why"], kind="stable", ignore_index=True)
    notes = (*_notes(past, summers, season), *summers.notes)
    if not histories.database.value("select count(*) from history.part"):
        notes = ("The log names no parts: each failure of a part is taken to need one piece.", *notes)
    upgrades = int((past.fits["why"] == "upgrade").sum())
    answer = answer_from(
        histories,
        table,
        COLUMNS,
        name="demand",
        method=METHOD,
        n_used=len(past.fits),
        notes=notes,
        excluded={"parts fitted as upgrades in past seasons": upgrades} if upgrades else {},
        settings={"from": season.from_date, "to": season.to_date, "summer": summer, "draws": draws, "seed": seed},
    )
    return DemandForecast(answer=answer, season=season, summer=summer, cells=cells, draws=matrix, notes=notes)


def _with_reasons(past: PastSeasons) -> PastSeasons:
    """Take unknown reasons for failures where no fitting of the component has a known one: no need is dropped."""
    known = set(past.fits.loc[past.fits["why"].isin(WHYS), "component"])
    nameless = (past.fits["why"] == "unknown") & ~past.fits["component"].isin(known)
    return replace(past, fits=past.fits.assign(why=past.fits["why"].mask(nameless, "failed")))


def _parts_now(histories: Histories, season: Season) -> pd.DataFrame:
    database = histories.database
    database.run("create or replace table history.season_ahead (from_day date, to_day date)")
    database.run(
        "insert into history.season_ahead values (?, ?)", [season.from_date, season.to_date + dt.timedelta(days=1)]
    )
    database.run_file("fleet.planning", "unit_kind")
    database.run_file("fleet.planning", "kind_part")
    database.run_file("fleet.planning", "part_fit")
    database.run_file("fleet.planning", "parts_now")
    return database.frame(
        "select property, building, model_family, compressor_type, component, state, part_no, "
        "count(*)::integer as units from history.part_now group by all order by all"
    )


def _summers(rng: np.random.Generator, draws: int, past: PastSeasons, summer: Summer) -> SummerDraws:
    failed = past.fits[past.fits["why"] == "failed"]
    counts, expected = _by_season(past, failed)
    return draw_summers(rng, draws, counts=counts, expected=expected, heat=past.heat, summer=summer)


def _by_season(past: PastSeasons, fits: pd.DataFrame) -> tuple[pd.Series, pd.Series]:
    """Return fittings by past season, and those expected of it at each component's average rate."""
    ids = list(past.season_ids)
    counts = fits.groupby("season_id").size().reindex(ids, fill_value=0)
    days = past.risk.pivot_table(index="component", columns="season_id", values="days", aggfunc="sum", fill_value=0.0)
    days = days.reindex(columns=ids, fill_value=0.0)
    rate = fits.groupby("component").size().reindex(days.index, fill_value=0) / days.sum(axis=1)
    return counts, days.mul(rate, axis=0).sum(axis=0)


def _draw_cells(
    rng: np.random.Generator,
    draws: int,
    past: PastSeasons,
    now: pd.DataFrame,
    summers: SummerDraws,
) -> tuple[pd.DataFrame, IntArray]:
    cells: list[pd.DataFrame] = []
    blocks: list[IntArray] = []
    for why in WHYS:
        of_reason = past.fits[past.fits["why"] == why]
        heat = why == "failed"
        year = summers.factor if heat else _year_factor(rng, draws, past, of_reason)
        for component in sorted(now["component"].unique()):
            fits = of_reason[of_reason["component"] == component]
            if fits.empty:
                continue
            drawn = _draw_component(
                rng, draws, past, now[now["component"] == component], fits,
                factor=year * _unknown_share(past.fits, component) * past.season.days,
                heat=summers.past_factor if heat else {},
            )  # fmt: skip
            cells.append(drawn[0].assign(why=why))
            blocks.append(drawn[1])
    if not cells:
        return pd.DataFrame(columns=KEY), np.zeros((draws, 0), dtype=np.int32)
    return pd.concat(cells, ignore_index=True)[KEY], np.concatenate(blocks, axis=1)


def _year_factor(rng: np.random.Generator, draws: int, past: PastSeasons, fits: pd.DataFrame) -> FloatArray:
    if fits.empty:
        return np.ones(draws)
    counts, expected = _by_season(past, fits)
    return draw_years(rng, draws, counts=counts, expected=expected)


def _unknown_share(fits: pd.DataFrame, component: str) -> float:
    """Return by how much known reasons are raised for the parts fitted for no recorded reason."""
    of_component = fits[fits["component"] == component]["why"]
    known = int((of_component != "unknown").sum())
    return len(of_component) / known if known else 1.0


def _draw_component(
    rng: np.random.Generator,
    draws: int,
    past: PastSeasons,
    now: pd.DataFrame,
    fits: pd.DataFrame,
    *,
    factor: FloatArray,
    heat: dict[int, float],
) -> tuple[pd.DataFrame, IntArray]:
    component = str(now["component"].iloc[0])
    risk = past.risk[past.risk["component"] == component]
    risk = risk.assign(weight=risk["season_id"].map(lambda y: heat.get(int(y), 1.0)))
    kind_codes, kinds = codes_of(now, KIND)
    place_codes, places = codes_of(now, ["property", "building"])
    cell_codes, cells = codes_of(now, ["property", "building", "part_no", "component"])
    drawn = draw_intensity(rng, draws, risk=risk, fits=fits, kinds=kinds, buildings=places)
    # a line of `now` is a kind in a building that takes a part number: add up its units' needs
    each = drawn.by_kind[:, kind_codes] * drawn.by_building[:, place_codes] * now["units"].to_numpy(float)
    load = sum_columns(each, cell_codes, len(cells))
    visits = rng.poisson(load * factor[:, None])
    amounts = fits["pieces"].to_numpy(float)
    return cells, _pounds(rng, visits, amounts) if component == "refrigerant" else _pieces(rng, visits, amounts)


def _pieces(rng: np.random.Generator, visits: npt.NDArray[np.int64], pieces: FloatArray) -> IntArray:
    """Turn fittings into pieces: most take one, some take several, as the log shows."""
    sizes, counts = np.unique(np.maximum(np.round(pieces), 1).astype(int), return_counts=True)
    total = np.zeros(visits.shape, dtype=np.int32)
    left = visits.copy()
    remaining = int(counts.sum())
    for size, count in zip(sizes[::-1], counts[::-1], strict=True):
        took = left if count == remaining else rng.binomial(left, count / remaining)
        total += (size * took).astype(np.int32)
        left = left - took
        remaining -= int(count)
    return total


def _pounds(rng: np.random.Generator, visits: npt.NDArray[np.int64], pounds: FloatArray) -> IntArray:
    """Turn top-ups into whole pounds: a gamma law with the log's mean and spread, rounded without bias."""
    mean, variance = float(pounds.mean()), max(float(pounds.var()), 1e-6 * float(pounds.mean()) ** 2)
    total = rng.gamma(np.maximum(visits, 1) * mean**2 / variance, variance / mean) * (visits > 0)
    whole: IntArray = np.floor(total + rng.random(total.shape)).astype(np.int32)
    return np.where(visits > 0, whole, 0).astype(np.int32)


def _table(cells: pd.DataFrame, draws: IntArray, now: pd.DataFrame, past: PastSeasons) -> pd.DataFrame:
    """Return each building and part number, and the same with building blank, split by reason and together."""
    parts = []
    for blank in ([], ["property", "building"]):
        for all_reasons in (True, False):
            wiped = cells.assign(**dict.fromkeys(blank, ""), **({"why": ""} if all_reasons else {}))
            codes, groups = codes_of(wiped, KEY) if len(wiped) else (np.zeros(0, dtype=np.int64), wiped)
            summed = sum_columns(draws, codes, len(groups))
            parts.append(_quantiles(groups, summed))
    table = pd.concat(parts, ignore_index=True)
    table["units"] = _units(table, now)
    upgrades = past.fits[past.fits["why"] == "upgrade"].groupby("component").size()
    table["note"] = [
        _note(str(part_no), str(component), together=not building and not why, upgrades=upgrades)
        for part_no, component, building, why in zip(
            table["part_no"], table["component"], table["building"], table["why"], strict=True
        )
    ]
    return table


def _quantiles(groups: pd.DataFrame, draws: IntArray) -> pd.DataFrame:
    if not len(groups):
        return groups.assign(mean=[], q05=[], q50=[], q95=[])
    q05, q50, q95 = np.quantile(draws, [0.05, 0.5, 0.95], axis=0, method="inverted_cdf")
    return groups.assign(mean=draws.mean(axis=0), q05=q05, q50=q50, q95=q95)


def _units(table: pd.DataFrame, now: pd.DataFrame) -> list[int]:
    by_building = now.groupby(["property", "building", "part_no", "component"])["units"].sum()
    fleet = now.groupby(["part_no", "component"])["units"].sum()
    return [
        int(fleet.get((row.part_no, row.component), 0) if row.building == "" and row.property == ""
            else by_building.get((row.property, row.building, row.part_no, row.component), 0))
        for row in table.itertuples()
    ]  # fmt: skip


def _note(part_no: str, component: str, *, together: bool, upgrades: pd.Series) -> str:
    said = []
    if part_no == "part number unknown":
        said.append("no catalogue line fits these units and none was fitted before")
    if together and upgrades.get(component, 0):
        said.append(f"{upgrades[component]} fitted as upgrades in past seasons are left out")
    return "; ".join(said)


def _notes(past: PastSeasons, summers: SummerDraws, season: Season) -> tuple[str, ...]:
    seasons = len(past.season_ids)
    return (
        f"Needs from {season.from_date} to {season.to_date}, both days included, from {seasons} past seasons.",
        f"A season 10 % hotter brings about {100 * (1.1**summers.elasticity - 1):.0f} % more failures "
        "(learnt from past summers and a stated prior).",
        "Rounds are taken to go on as the log shows them; upgrades are left out; refrigerant is in pounds.",
    )

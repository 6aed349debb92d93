"""How many of each part number on which shelf, what it costs, how sure it is, and by when to order."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import asdict, dataclass, field
from typing import Literal

import numpy as np
import numpy.typing as npt
import pandas as pd

from fleet.answer import Answer, AnswerColumn
from fleet.errors import PlanError
from fleet.histories.answers import answer_from
from fleet.histories.build import Histories
from fleet.planning.demand import DemandForecast
from fleet.planning.levels import (
    Curves,
    chance_of_more,
    chance_short,
    cheapest_levels,
    cost_of,
    least_cost_for_service,
    levels_for_budget,
    levels_for_service,
    need_curves,
    refill_curves,
    service_of,
)
from fleet.planning.packs import order_money, pack_rest, pieces_a_pack
from fleet.planning.past_seasons import Season, list_past_seasons, walking_order
from fleet.planning.prices import fill_prices
from fleet.planning.shelves import ShelfLines, Shelves, read_shelves

Restock = Literal["once", "refill"]
IntArray = npt.NDArray[np.int64]
FloatArray = npt.NDArray[np.float64]

ORDER_MARGIN_DAYS = 7
"""Days between the order's arrival and the season's first day."""

USUAL_LEAD_DAYS = 7.0
"""Lead time taken for refilling where the catalogue gives none; said aloud."""

NEGATIVE_STOCK = "the shelf's record is below zero: taken as empty"

COLUMNS = (
    AnswerColumn(name="property", kind="text", meaning="the complex"),
    AnswerColumn(name="location", kind="text", meaning="a building's shelf, shop or van:NAME"),
    AnswerColumn(name="part_no", kind="text", meaning="the catalogue's number"),
    AnswerColumn(name="component", kind="text", meaning="what it is a part of"),
    AnswerColumn(name="on_hand", kind="count", meaning="on the shelf now", unit="pieces"),
    AnswerColumn(name="on_order", kind="count", meaning="on its way", unit="pieces"),
    AnswerColumn(name="target", kind="count", meaning="level before the season begins", unit="pieces"),
    AnswerColumn(
        name="to_order", kind="count", meaning="target less what stands there and is on its way", unit="pieces"
    ),
    AnswerColumn(name="unit_cost", kind="money", meaning="price a piece"),
    AnswerColumn(name="cost", kind="money", meaning="price of to_order"),
    AnswerColumn(name="p_short", kind="number", meaning="chance that at least one need isn't met from that shelf"),
    AnswerColumn(name="order_by", kind="text", meaning="date, or late; blank where lead time is unknown"),
    AnswerColumn(name="need_mean", kind="number", meaning="pieces expected to be needed", unit="pieces"),
    AnswerColumn(name="need_q05", kind="number", meaning="fewer only in one future of twenty", unit="pieces"),
    AnswerColumn(name="need_q95", kind="number", meaning="more only in one future of twenty", unit="pieces"),
    AnswerColumn(name="one_more_saves", kind="money", meaning="what one piece more would save; negative = cost"),
    AnswerColumn(name="why", kind="text", meaning="what the line rests on"),
    AnswerColumn(name="note", kind="text", meaning="what must be known before ordering"),
)

METHOD = (
    "Marginal analysis over drawn futures of the season's needs (Sherbrooke 2004; newsvendor, Snyder and Shen 2019); "
    "to order = target less on hand and on order; packs rounded up once a part number."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class StockSettings:
    """The dials of a stocking plan.

    Attributes
    ----------
    leftover_share : float
        What an unused part costs, as a share of its price (a year on the shelf, and the chance it is never used).
    shortage_cost : float
        What a missing part costs in money: a second trip, a night without cooling.
    shortage_share : float
        And as a share of its price on top: the counter's price, rush freight.
    service : float or None
        At least this share of the fleet's part needs is met from the shelf.
    budget : float or None
        At most this money for the order.
    shelves : {"building", "shop"}
        Parts on building shelves, or all in the shop.
    restock : {"once", "refill"}
        One order before the season, or shelves refilled through it with the catalogue's lead times.
    """

    leftover_share: float = 0.20
    shortage_cost: float = 60.0
    shortage_share: float = 0.25
    service: float | None = None
    budget: float | None = None
    shelves: Shelves = "building"
    restock: Restock = "once"

    def __post_init__(self) -> None:
        """Refuse dials that make no sense (PlanError)."""
        if not (0 < self.leftover_share <= 1 and self.shortage_cost >= 0 and self.shortage_share >= 0):
            msg = "leftover-share must lie in 0 to 1, shortage-cost and shortage-share must not be negative"
            raise PlanError(msg)
        if self.service is not None and not 0 < self.service < 1:
            msg = f"service = {self.service} must lie between 0 and 1, for example 0.95"
            raise PlanError(msg)
        if self.budget is not None and not (self.budget >= 0 and math.isfinite(self.budget)):
            msg = f"budget = {self.budget} must be an amount of money, 0 or more"
            raise PlanError(msg)
        if self.shelves not in ("building", "shop") or self.restock not in ("once", "refill"):
            msg = f"shelves = {self.shelves!r} (building or shop), restock = {self.restock!r} (once or refill)"
            raise PlanError(msg)


@dataclass(frozen=True, slots=True, kw_only=True)
class StockPlan:
    """A stocking plan and what it is expected to bring.

    ``answer`` has the table of the columns ``COLUMNS``: shelf lines, then the rest of full packs, then stock that no
    need calls for. ``service`` is the expected share of part needs met from the shelf; ``season_cost`` the expected
    cost of pieces left and pieces short; both count everything on the shelves.
    """

    answer: Answer
    order_cost: float
    pieces_to_order: int
    service: float
    season_cost: float
    first_order_by: dt.date | None
    settings: StockSettings
    notes: tuple[str, ...] = field(default=())


def plan_stock(
    histories: Histories, demand: DemandForecast, settings: StockSettings | None = None, *, seed: int = 20260402
) -> StockPlan:
    """Choose how many of each part number stand on each shelf when the season begins.

    Parameters
    ----------
    demand : DemandForecast
        The season's needs as drawn futures.
    settings : StockSettings, optional
        The dials; defaults are those of the class and are printed with every answer.

    Returns
    -------
    StockPlan

    Raises
    ------
    PlanError
        If a dial makes no sense or the forecast holds no need at all.

    Notes
    -----
    Each shelf meets its own building's needs alone; buildings without a shelf are met from the shop. Without service
    or budget the season's cost is least: leftover-share x price x pieces left + (shortage-cost + shortage-share x
    price) x pieces short. ``service`` is a floor, ``budget`` a cap; where both can't hold the budget wins.
    """
    settings = settings or StockSettings()
    if not len(demand.cells):
        msg = "the forecast holds no need of any part; there is nothing to stock"
        raise PlanError(msg)
    shelf = read_shelves(histories, demand, settings.shelves)
    lines, price_notes = fill_prices(histories, shelf.lines)
    curves, restock_notes = _curves(histories, demand, shelf, lines, settings, seed)
    price = lines["price"].to_numpy(float)
    cost_left = settings.leftover_share * price
    cost_short = settings.shortage_cost + settings.shortage_share * price
    free = cheapest_levels(curves, cost_short, cost_left, np.zeros(len(lines), dtype=np.int64))
    level, money_notes = _levels(curves, cost_short, cost_left, lines, settings)
    floor = _standing(lines)
    target = np.where(level > floor, level, np.minimum(floor, np.maximum(free, 0)))
    more = chance_of_more(curves, level)
    gain_next = cost_short * curves.repeats * more - cost_left * (1 - more)
    table = _shelf_table(lines, shelf, level - floor, target, curves, level, gain_next)
    table = pd.concat([table, pack_rest(table, lines), _idle_table(shelf.idle)], ignore_index=True)
    table["place"] = walking_order(histories, table, "location")
    table = table.sort_values(
        ["property", "place", "location", "component", "part_no"], kind="stable", ignore_index=True
    )
    table["order_by"] = _order_by(table, lines, demand.season.from_date, histories.as_of)
    notes = (*money_notes, *restock_notes, *price_notes, *_notes(settings), *demand.notes)
    answer = answer_from(
        histories,
        table,
        COLUMNS,
        name="stock",
        method=METHOD,
        n_used=demand.answer.n_used,
        notes=notes,
        settings={**demand.answer.settings, **asdict(settings)},
    )
    dates = [dt.date.fromisoformat(day) for day in table.loc[table["to_order"] > 0, "order_by"] if day[:1].isdigit()]
    return StockPlan(
        answer=answer,
        order_cost=float(table["cost"].sum()),
        pieces_to_order=int(table["to_order"].sum()),
        service=service_of(curves, level),
        season_cost=cost_of(curves, cost_short, cost_left, level),
        first_order_by=min(dates, default=None),
        settings=settings,
        notes=notes,
    )


def _standing(lines: pd.DataFrame) -> IntArray:
    standing = lines["on_hand"].clip(lower=0) + lines["on_order"].clip(lower=0)
    return np.asarray(np.floor(standing.to_numpy(float)), dtype=np.int64)


def _curves(
    histories: Histories,
    demand: DemandForecast,
    shelf: ShelfLines,
    lines: pd.DataFrame,
    settings: StockSettings,
    seed: int,
) -> tuple[Curves, tuple[str, ...]]:
    if settings.restock == "once":
        return need_curves(shelf.draws), ()
    lead = lines["lead_time_days"].to_numpy(float)
    unknown = int(np.isnan(lead).sum())
    peak = _peak(histories, demand.season)
    curves = refill_curves(
        np.random.default_rng(seed), shelf.draws, lead_days=np.where(np.isnan(lead), USUAL_LEAD_DAYS, lead),
        season_days=demand.season.days, peak=peak,
    )  # fmt: skip
    said = [f"Shelves are refilled through the season; a lead time is taken at {peak:.1f} times the season's pace."]
    if unknown:
        said.append(f"{unknown} lines have no lead time; {USUAL_LEAD_DAYS:.0f} days are taken.")
    return curves, tuple(said)


def _peak(histories: Histories, season: Season) -> float:
    """Return the busiest month's pace of fittings over the season's, from past seasons (1 to 3)."""
    list_past_seasons(histories, season)
    pace = histories.database.frame(_PACE)
    if not pace["n"].sum():
        return 1.0
    by_day = pace["n"] / pace["days"]
    return float(np.clip(by_day.max() * pace["days"].sum() / pace["n"].sum(), 1.0, 3.0))


_PACE = """
with days as (
    select unnest(generate_series(from_day, to_day - 1, interval 1 day))::date as day from history.season
),
fitted as (select day, count(*) as n from history.part group by day)
select month(d.day) as month, count(*)::double as days, coalesce(sum(f.n), 0)::double as n
from days as d left join fitted as f using (day) group by all order by all
"""


def _levels(
    curves: Curves, cost_short: FloatArray, cost_left: FloatArray, lines: pd.DataFrame, settings: StockSettings
) -> tuple[IntArray, tuple[str, ...]]:
    floor = _standing(lines)
    wanted = cheapest_levels(curves, cost_short, cost_left, floor)
    if settings.service is not None:
        wanted = levels_for_service(curves, cost_short, cost_left, floor, settings.service)
    if settings.budget is None:
        return wanted, _how_near(curves, cost_short, cost_left, floor, wanted, settings.service)
    if order_money(lines, wanted - floor) <= settings.budget + 0.005:
        return wanted, ()
    level = levels_for_budget(
        curves, cost_short, cost_left, floor, price=lines["unit_cost"].fillna(0.0).to_numpy(float),
        budget=settings.budget, wanted=wanted, part=pd.factorize(lines["part_no"])[0].astype(np.int64),
        pack=pieces_a_pack(lines["pack_size"]),
    )  # fmt: skip
    note = f"The budget of ${settings.budget:,.0f} buys the pieces that save most for a dollar, not all that would pay."
    if settings.service is not None and service_of(curves, level) < settings.service - 1e-9:
        note = (
            f"The budget of ${settings.budget:,.0f} doesn't reach a service of {settings.service:.0%}; "
            f"the budget wins, and {service_of(curves, level):.0%} of needs are expected to be met."
        )
    return level, (note,)


def _how_near(
    curves: Curves,
    cost_short: FloatArray,
    cost_left: FloatArray,
    floor: IntArray,
    level: IntArray,
    service: float | None,
) -> tuple[str, ...]:
    """Say how much cheaper a plan of this service could be at most."""
    if service is None:
        return ()
    bound = least_cost_for_service(curves, cost_short, cost_left, floor, service)
    over = max(cost_of(curves, cost_short, cost_left, level) - bound, 0.0)
    return (f"No plan that meets {service:.0%} of needs costs over ${over:,.2f} less than this one.",)


def _shelf_table(
    lines: pd.DataFrame,
    shelf: ShelfLines,
    pieces: IntArray,
    target: IntArray,
    curves: Curves,
    level: IntArray,
    gain_next: FloatArray,
) -> pd.DataFrame:
    table = lines[["property", "location", "part_no", "component", "on_hand", "on_order", "unit_cost"]].copy()
    table["target"] = target
    table["to_order"] = np.maximum(pieces, 0)
    table["cost"] = table["to_order"] * table["unit_cost"]
    table["p_short"] = chance_short(curves, level)
    q05, q95 = np.quantile(shelf.draws, [0.05, 0.95], axis=0, method="inverted_cdf")
    table["need_mean"], table["need_q05"], table["need_q95"] = shelf.draws.mean(axis=0), q05, q95
    table["one_more_saves"] = np.round(gain_next, 2)
    table["why"] = [
        f"about {row.need_mean:.1f} needed, {row.need_q05:.0f} to {row.need_q95:.0f}" for row in table.itertuples()
    ]
    negative = np.where((lines["on_hand"] < 0) | (lines["on_order"] < 0), NEGATIVE_STOCK, "")
    table["note"] = ["; ".join(filter(None, pair)) for pair in zip(lines["price_note"], negative, strict=True)]
    table[["on_hand", "on_order"]] = table[["on_hand", "on_order"]].clip(lower=0)
    return table


def _idle_table(idle: pd.DataFrame) -> pd.DataFrame:
    """Return stock that no line of the plan needs, so that it is seen and not bought again."""
    on_van = idle["location"].str.startswith("van:")
    return pd.DataFrame(
        {
            **{name: idle[name] for name in ("property", "location", "part_no", "component", "on_hand", "on_order")},
            "target": 0,
            "to_order": 0,
            "unit_cost": idle["unit_cost"],
            "cost": 0.0,
            "p_short": np.nan,
            "need_mean": np.nan,
            "need_q05": np.nan,
            "need_q95": np.nan,
            "one_more_saves": np.nan,
            "why": "",
            "note": np.where(on_van, "on a van: listed, not counted on", "no need on this shelf"),
        }
    )


def _order_by(table: pd.DataFrame, lines: pd.DataFrame, from_date: dt.date, as_of: dt.date) -> list[str]:
    lead = lines.drop_duplicates("part_no").set_index("part_no")["lead_time_days"]
    said = []
    for part_no, pieces in zip(table["part_no"], table["to_order"], strict=True):
        days = lead.get(part_no, np.nan)
        if pieces <= 0 or days is None or math.isnan(days):
            said.append("")
            continue
        day = from_date - dt.timedelta(days=math.ceil(days) + ORDER_MARGIN_DAYS)
        said.append("late" if day < as_of else day.isoformat())
    return said


def _notes(settings: StockSettings) -> tuple[str, ...]:
    where = "on building shelves" if settings.shelves == "building" else "all in the shop"
    return (
        f"A part left over costs {settings.leftover_share:.0%} of its price, a part short "
        f"${settings.shortage_cost:,.0f} and {settings.shortage_share:.0%} of its price; parts stand {where}.",
        "Each shelf meets its own building's needs alone; moving and sharing parts are not counted on.",
    )

"""The stocking list: who is met from which shelf, what is ordered, packs, money, dates, and what is said aloud."""

import dataclasses
import datetime as dt

import numpy as np
import pandas as pd
import pytest
from small_logs import histories_of, kept, unit, visit

from fleet.errors import PlanError
from fleet.planning.demand import forecast_demand
from fleet.planning.stock import COLUMNS, StockSettings, plan_stock

PLACE = "Oak Row"
CATALOGUE = [
    {"part_no": "CAP", "component": "run capacitor", "unit_cost": 10, "lead_time_days": 10, "pack_size": 3},
    {"part_no": "CON", "component": "contactor", "unit_cost": 20},
    {"part_no": "COMP", "component": "compressor", "unit_cost": 500, "lead_time_days": 100, "pack_size": 1},
    {"part_no": "TH", "component": "thermostat", "unit_cost": 40, "lead_time_days": 5},
]
SHELVES = [
    {"location": "1", "part_no": "CAP", "on_hand": 1, "on_order": 1},
    {"location": "1", "part_no": "CON", "on_hand": 9, "on_order": 0},
    {"location": "2", "part_no": "TH", "on_hand": 3, "on_order": 0},
    {"location": "shop", "part_no": "CAP", "on_hand": 2, "on_order": 0},
    {"location": "van:Ann", "part_no": "CAP", "on_hand": 4, "on_order": 0},
]


def planning_log(folder, *, buildings=True, stock=SHELVES):
    tables = {}
    if buildings:
        tables["buildings"] = [
            {"property": PLACE, "building": b, "walk_order": walk, "has_shelf": shelf}
            for b, walk, shelf in (("1", 2, "yes"), ("2", 1, "yes"), ("3", 3, "no"))
        ]
    return histories_of(
        folder,
        coverage=[kept("2021-01-01", "2023-12-31")],
        equipment=[unit(f"U{b}", building=b, installed_on="2015-01-01") for b in "123"],
        visits=[visit("V1", "U1", "2023-07-01"), visit("V2", "U2", "2022-07-01")],
        parts_used=[
            {"visit_id": "V1", "component": "contactor", "part_no": "CON", "why": "failed"},
            {"visit_id": "V2", "component": "run capacitor", "part_no": "CAP", "why": "failed"},
        ],
        catalogue=CATALOGUE,
        stock=[{"property": PLACE, **row} for row in stock],
        **tables,
    )


@pytest.fixture(scope="module")
def histories(tmp_path_factory):
    known = planning_log(tmp_path_factory.mktemp("stock"))
    yield known
    known.close()


def needs(histories, cells, seed=1, futures=500):
    """Return a forecast whose needs are ours: (building, part, component, mean) or exact pieces instead of a mean."""
    forecast = forecast_demand(histories, draws=20)
    rng = np.random.default_rng(seed)
    frame = pd.DataFrame(
        [{"property": PLACE, "building": b, "part_no": p, "component": c, "why": "failed"} for b, p, c, _ in cells]
    )
    draws = np.column_stack(
        [np.full(futures, m) if isinstance(m, int) else rng.poisson(m, futures) for *_, m in cells]
    ).astype(np.int32)
    return dataclasses.replace(forecast, cells=frame, draws=draws)


USUAL = (
    ("1", "CAP", "run capacitor", 2.0),
    ("2", "CAP", "run capacitor", 1.0),
    ("3", "CAP", "run capacitor", 1.5),
    ("1", "CON", "contactor", 1.0),
    ("2", "CON", "contactor", 2.0),
    ("3", "COMP", "compressor", 1.0),
    ("3", "TH", "thermostat", 0.7),
)


@pytest.fixture(scope="module")
def usual(histories):
    return needs(histories, USUAL)


@pytest.fixture(scope="module")
def plan(histories, usual):
    return plan_stock(histories, usual)


def line(plan, location, part_no, rest=False):
    table = plan.answer.to_frame()
    chosen = table[(table["location"] == location) & (table["part_no"] == part_no)]
    chosen = chosen[chosen["note"].str.startswith("rest of full packs") == rest]
    assert len(chosen) == 1, table
    return chosen.iloc[0]


def test_table_has_the_documented_columns(plan):
    assert list(plan.answer.table.columns) == [column.name for column in COLUMNS]


def test_order_is_target_less_what_stands_there_and_is_on_its_way(plan):
    table = plan.answer.to_frame()
    expected = np.maximum(table["target"] - table["on_hand"] - table["on_order"], 0)
    assert table["to_order"].tolist() == expected.tolist()
    priced = table[table["unit_cost"].notna()]
    assert priced["cost"].tolist() == pytest.approx((priced["to_order"] * priced["unit_cost"]).tolist())
    assert plan.order_cost == pytest.approx(table["cost"].sum())
    assert plan.pieces_to_order == table["to_order"].sum()


def best_level(draws, price, settings=StockSettings()):  # noqa: B008
    costs = [
        settings.leftover_share * price * np.maximum(s - draws, 0).mean()
        + (settings.shortage_cost + settings.shortage_share * price) * np.maximum(draws - s, 0).mean()
        for s in range(30)
    ]
    return int(np.argmin(costs))


def test_targets_are_the_least_cost_by_brute_force(plan, usual):
    prices = {row["part_no"]: row["unit_cost"] for row in CATALOGUE}
    for place, (building, part_no, *_rest) in enumerate(USUAL):
        location = building if building in "12" else "shop"
        row = line(plan, location, part_no)
        assert row["target"] == best_level(usual.draws[:, place], prices[part_no]), (building, part_no)


def test_what_is_on_the_shelf_beyond_need_is_not_ordered_again(plan):
    row = line(plan, "1", "CON")
    assert (row["on_hand"], row["to_order"]) == (9, 0)
    assert row["target"] < 9


def test_chance_short_counts_futures(plan, usual):
    for place, (building, part_no, *_rest) in enumerate(USUAL):
        row = line(plan, building if building in "12" else "shop", part_no)
        stands = max(row["target"], row["on_hand"] + row["on_order"])
        assert row["p_short"] == pytest.approx((usual.draws[:, place] > stands).mean())


def test_season_cost_counts_left_and_short_over_futures(plan, usual):
    prices = {row["part_no"]: row["unit_cost"] for row in CATALOGUE}
    total = 0.0
    met = 0.0
    for place, (building, part_no, *_rest) in enumerate(USUAL):
        row = line(plan, building if building in "12" else "shop", part_no)
        stands, price, need = row["target"], prices[part_no], usual.draws[:, place]
        stands = max(stands, row["on_hand"] + row["on_order"])
        total += 0.20 * price * np.maximum(stands - need, 0).mean()
        total += (60 + 0.25 * price) * np.maximum(need - stands, 0).mean()
        met += np.minimum(need, stands).mean()
    assert plan.season_cost == pytest.approx(total)
    assert plan.service == pytest.approx(met / usual.draws.mean(axis=0).sum())


def test_buildings_without_a_shelf_are_met_from_the_shop(plan):
    table = plan.answer.to_frame()
    assert "3" not in set(table["location"])
    assert line(plan, "shop", "TH")["need_mean"] == pytest.approx(0.7, abs=0.1)


def test_without_has_shelf_every_building_has_one(tmp_path):
    histories = planning_log(tmp_path, buildings=False)
    plan = plan_stock(histories, needs(histories, USUAL))
    assert line(plan, "3", "TH")["need_mean"] == pytest.approx(0.7, abs=0.1)


def test_all_in_the_shop(histories, usual):
    plan = plan_stock(histories, usual, StockSettings(shelves="shop"))
    table = plan.answer.to_frame()
    assert set(table.loc[table["to_order"] > 0, "location"]) == {"shop"}
    row = line(plan, "shop", "CAP")
    assert row["need_mean"] == pytest.approx(usual.draws[:, :3].sum(axis=1).mean())
    assert row["on_hand"] == 2
    assert line(plan, "1", "CAP")["note"] == "no need on this shelf"
    assert any("all in the shop" in note for note in plan.notes)


def test_sharing_one_shelf_needs_fewer_pieces(histories, usual):
    """Common practice and theory alike: a pooled shelf covers the same needs with less."""
    own, pooled = (plan_stock(histories, usual, StockSettings(shelves=s)) for s in ("building", "shop"))
    assert pooled.season_cost < own.season_cost


def test_packs_are_rounded_up_once_a_part_number(plan):
    table = plan.answer.to_frame()
    pieces = table[table["part_no"] == "CAP"]
    assert pieces["to_order"].sum() % 3 == 0
    shelves = pieces[~pieces["note"].str.startswith("rest of full packs")]["to_order"].sum()
    rest = line(plan, "shop", "CAP", rest=True)
    assert rest["note"] == "rest of full packs of 3"
    assert rest["to_order"] == -shelves % 3 > 0


def test_full_packs_leave_no_rest(histories):
    plan = plan_stock(histories, needs(histories, [("2", "CAP", "run capacitor", 6)]))
    table = plan.answer.to_frame()
    assert table.loc[table["to_order"] > 0, ["location", "to_order"]].to_numpy().tolist() == [["2", 6]]


def test_order_by_is_a_date_late_or_blank(plan):
    assert line(plan, "2", "CAP")["order_by"] == "2024-03-15"  # 1 April less 10 days of lead time and 7 of margin
    assert line(plan, "shop", "COMP")["order_by"] == "late"  # 100 days and 7: 16 December, before the as-of day
    assert line(plan, "2", "CON")["order_by"] == ""  # no lead time in the catalogue
    assert line(plan, "1", "CON")["order_by"] == ""  # nothing to order
    assert plan.first_order_by == dt.date(2024, 3, 15)


def test_vans_and_idle_shelves_are_listed_and_not_counted_on(plan):
    van = line(plan, "van:Ann", "CAP")
    assert (van["on_hand"], van["target"], van["to_order"]) == (4, 0, 0)
    assert van["note"] == "on a van: listed, not counted on"
    idle = line(plan, "2", "TH")
    assert (idle["on_hand"], idle["to_order"], idle["note"]) == (3, 0, "no need on this shelf")


def test_lines_come_in_walking_order(plan):
    locations = plan.answer.to_frame()["location"].drop_duplicates().tolist()
    assert locations[:2] == ["2", "1"]
    assert locations.index("shop") < locations.index("van:Ann")


def test_a_negative_record_is_taken_as_empty(tmp_path):
    histories = planning_log(tmp_path, stock=[{"location": "2", "part_no": "CON", "on_hand": -2, "on_order": 0}])
    plan = plan_stock(histories, needs(histories, [("2", "CON", "contactor", 3)]))
    row = line(plan, "2", "CON")
    assert (row["on_hand"], row["target"], row["to_order"]) == (0, 3, 3)


def test_service_is_a_floor(histories, usual):
    for service in (0.90, 0.97, 0.995):
        plan = plan_stock(histories, usual, StockSettings(service=service, shortage_cost=1.0))
        assert plan.service >= service
        assert plan.notes[0].startswith(f"No plan that meets {service:.0%} of needs costs over $")
    cheap = plan_stock(histories, usual, StockSettings(shortage_cost=1.0))
    assert cheap.service < 0.97
    assert cheap.order_cost < plan.order_cost


def test_budget_is_a_cap(histories, usual, plan):
    for share in (0.0, 0.3, 0.6, 0.9):
        capped = plan_stock(histories, usual, StockSettings(budget=share * plan.order_cost))
        assert capped.order_cost <= share * plan.order_cost + 0.01
        assert "buys the pieces that save most for a dollar" in capped.notes[0]
    free = plan_stock(histories, usual, StockSettings(budget=plan.order_cost))
    assert free.answer.to_frame()["to_order"].tolist() == plan.answer.to_frame()["to_order"].tolist()


def test_more_budget_never_lowers_service(histories, usual, plan):
    services = [
        plan_stock(histories, usual, StockSettings(budget=share * plan.order_cost)).service
        for share in np.linspace(0, 1.1, 23)
    ]
    assert (np.diff(services) >= -1e-12).all()


def test_where_both_cant_hold_the_budget_wins_and_it_is_said(histories, usual):
    plan = plan_stock(histories, usual, StockSettings(service=0.99, budget=50.0))
    assert plan.order_cost <= 50
    assert plan.service < 0.99
    assert plan.notes[0].startswith("The budget of $50 doesn't reach a service of 99%; the budget wins, and ")
    assert f"{plan.service:.0%} of needs" in plan.notes[0]


def test_refilling_orders_less_than_once_and_shorter_lead_never_more(histories, usual, plan):
    refilled = plan_stock(histories, usual, StockSettings(restock="refill"))
    once, refill = (p.answer.to_frame().query("location != 'shop' or note == ''") for p in (plan, refilled))
    assert refill["target"].sum() < once["target"].sum()
    assert any("refilled through the season" in note for note in refilled.notes)
    assert any("have no lead time; 7 days are taken" in note for note in refilled.notes)


def test_refilling_goes_by_the_pace_of_its_own_season(histories, usual):
    """Another forecast on the same histories in between changes nothing."""
    first = plan_stock(histories, usual, StockSettings(restock="refill"))
    forecast_demand(histories, from_date=dt.date(2024, 7, 1), to_date=dt.date(2024, 7, 31), draws=20)
    again = plan_stock(histories, usual, StockSettings(restock="refill"))
    assert again.notes == first.notes
    assert again.answer.to_frame().equals(first.answer.to_frame())


def test_the_dials_work_in_their_direction(histories, usual, plan):
    dear_short = plan_stock(histories, usual, StockSettings(shortage_cost=200.0))
    dear_left = plan_stock(histories, usual, StockSettings(leftover_share=0.8))
    assert dear_short.service > plan.service > dear_left.service
    assert dear_short.order_cost > plan.order_cost > dear_left.order_cost


def test_settings_are_printed_with_every_answer(plan):
    settings = plan.answer.settings
    assert settings["leftover_share"] == 0.20
    assert settings["shortage_cost"] == 60.0
    assert settings["shortage_share"] == 0.25
    assert settings["shelves"] == "building"
    assert settings["restock"] == "once"
    assert settings["from"] == dt.date(2024, 4, 1)


def test_no_need_at_all_is_a_plan_error(histories, usual):
    empty = dataclasses.replace(usual, cells=usual.cells.iloc[:0], draws=usual.draws[:, :0])
    with pytest.raises(PlanError, match="the forecast holds no need of any part"):
        plan_stock(histories, empty)


@pytest.mark.parametrize(
    ("dials", "said"),
    [
        ({"leftover_share": 0.0}, "leftover-share must lie in 0 to 1"),
        ({"shortage_cost": -1.0}, "must not be negative"),
        ({"service": 1.0}, "service = 1.0 must lie between 0 and 1"),
        ({"budget": -5.0}, "budget = -5.0 must be an amount of money"),
        ({"shelves": "attic"}, "shelves = 'attic'"),
        ({"restock": "never"}, "restock = 'never'"),
    ],
)
def test_dials_that_make_no_sense(dials, said):
    with pytest.raises(PlanError, match=said):
        StockSettings(**dials)

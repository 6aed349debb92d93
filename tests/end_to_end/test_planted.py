"""What the demo log's answer key says was planted, against what the answers say."""

from decimal import Decimal

import numpy as np
import pytest

from fleet.analysis.callbacks import count_callbacks
from fleet.analysis.clusters import scan_clusters
from fleet.analysis.costs import cost_totals, count_costs
from fleet.analysis.lots import screen_lots
from fleet.analysis.meters import estimate_meters
from fleet.analysis.rates import estimate_rates
from fleet.analysis.units import find_failing_units
from fleet.ingest.report import records_frame

REASONS = {
    "equipment_id_unknown": "unknown_unit",
    "high_f_not_number": "high_f_not_a_number",
    "installed_on_not_date": "installed_on_not_a_date",
    "labor_minutes_not_number": "labor_minutes_not_a_number",
    "quantity_not_number": "quantity_not_a_number",
    "reported_at_in_future": "reported_in_future",
    "reported_at_not_date": "reported_at_not_a_date",
    "value_not_number": "value_not_a_number",
}
"""The key's words for why a record is refused, where the load's own differ."""


@pytest.fixture(scope="module")
def planted(demo_key):
    return demo_key["planted"]


@pytest.fixture(scope="module")
def remembered(worked_out):
    """Return the session's remembering stand-in of a slow function, else the function."""
    return lambda function: worked_out.get((function.__module__, function.__name__), function)


def test_every_file_is_read_as_the_key_says(demo_loaded, demo_key):
    accounts = {account.source: account for account in demo_loaded[1].accounts}
    classes = ("records", "clean", "quarantined", "duplicate", "blank")
    found = {name: {c: getattr(account, c) for c in classes} for name, account in accounts.items()}
    assert found == demo_key["totals"]["files"]
    assert all(account.balanced for account in accounts.values())


def test_records_are_refused_for_the_keys_reasons(demo_loaded, demo_key):
    found = {}
    for _table, standing, reason, count in demo_loaded[1].reasons:
        if standing == "quarantined":
            found[reason] = found.get(reason, 0) + count
    expected = demo_key["totals"]["quarantine_reasons"]
    assert found == {REASONS.get(reason, reason): count for reason, count in expected.items()}


@pytest.mark.parametrize("standing", ["quarantined", "blank"])
def test_the_very_records_of_the_key(demo_store, demo_key, standing):
    with demo_store.open() as database:
        frame = records_frame(database, standing)
    found = set(zip(frame["source"], frame["record"].astype(int), strict=True))
    assert found == {(r["file"], r["record"]) for r in demo_key["dirty"] if r["becomes"] == standing}


@pytest.fixture(scope="module")
def by_family(demo_histories):
    return estimate_rates(demo_histories, by=["model_family"]).to_frame()


@pytest.mark.parametrize("component", ["run capacitor", "contactor"])
def test_the_bad_family_is_named_and_its_ratio_is_right(by_family, planted, component):
    bad = planted["bad_family"]
    row = by_family[(by_family["component"] == component) & (by_family["model_family"] == bad["family"])].iloc[0]
    assert row["alert"] == "yes"
    truth = bad["realized"][component]["ratio"]
    assert row["ratio_low"] < truth < row["ratio_high"]
    assert row["ratio"] == pytest.approx(truth, rel=0.10)  # counts of the log against those of the world
    assert row["adjusted_low"] > 1
    assert row["adjusted_low"] < bad["ageing_factor"][component] < row["adjusted_high"]


def test_few_other_families_are_named(by_family, planted):
    """False discovery control at 10 %: beside the two planted alerts at most one may be by chance."""
    named = by_family[by_family["alert"] == "yes"]
    others = named[named["model_family"] != planted["bad_family"]["family"]]
    assert len(others) <= 1, others


def test_rotary_compressors_are_harder_on_hard_starts(demo_histories, planted):
    frame = estimate_rates(demo_histories, by=["compressor_type"], component="hard start").to_frame()
    row = frame[frame["compressor_type"] == "rotary"].iloc[0]
    assert 1 < row["ratio_low"] < planted["rotary_hard_start"]["ratio"] < row["ratio_high"]


def test_unit_years_and_failures_are_the_worlds(demo_histories, demo_key):
    """Time at risk leaves out vacant homes, so it is a little less than time in service; failures nearly agree."""
    frame = estimate_rates(demo_histories).to_frame().set_index("component")
    totals = demo_key["totals"]
    assert 0.94 * totals["unit_years_in_service"] < frame.loc["", "unit_years"] < totals["unit_years_in_service"]
    truth = totals["true_failures"]
    for component, count in truth.items():
        if component != "wiring":
            # refused visits, and faults that ended a chain of another name, move a handful
            assert abs(frame.loc[component, "failures"] - count) <= max(2, 0.03 * count), component
    # a quarter of the call-backs find a wire left loose: no new fault of the world, but the log's word for one
    came_back = demo_key["planted"]["people"]["all_came_back"]
    assert truth["wiring"] <= frame.loc["wiring", "failures"] <= truth["wiring"] + came_back / 2
    assert frame.loc["", "failures"] == pytest.approx(totals["true_failures_all"], rel=0.03)  # the same handful


def test_the_bad_lot_is_named(demo_histories, planted, remembered):
    frame = remembered(screen_lots)(demo_histories).to_frame()
    named = frame[frame["alert"] == "yes"]
    bad = planted["bad_lot"]
    row = named[(named["part_no"] == bad["part_no"]) & (named["lot"] == bad["lot"])]
    assert len(row) == 1
    assert row.iloc[0]["fitted"] == bad["fitted_with_lot_written"]
    assert len(named) <= 2  # at most one by chance


def test_the_voltage_spell_is_found(demo_histories, planted, remembered):
    spell = planted["voltage_spell"]
    frame = remembered(scan_clusters)(demo_histories).to_frame()
    named = frame[frame["alert"] == "yes"]
    assert len(named) == 1
    row = named.iloc[0]
    assert (row["property"], row["building"], row["component"]) == (spell["property"], spell["building"], "contactor")
    first, last = (str(row[name])[:10] for name in ("from_date", "to_date"))
    inside = sum(first <= day <= last for day, _ in spell["failures"])
    assert inside >= 0.8 * len(spell["failures"])


def test_the_units_that_keep_failing_come_first(demo_histories, planted, remembered):
    frame = remembered(find_failing_units)(demo_histories).to_frame()
    bad = {unit["equipment_id"] for unit in planted["lemons"]["units"]}
    assert len(bad) == 12
    assert len(bad & set(frame["equipment_id"].head(30))) >= 9
    assert len(bad & set(frame.loc[frame["p_bad"] > 0.5, "equipment_id"])) >= 9
    surely = set(frame.loc[frame["p_bad"] > 0.9, "equipment_id"])
    assert surely <= bad


def test_the_low_meter_and_every_other_bias(demo_histories, planted):
    frame = estimate_meters(demo_histories).to_frame().set_index("meter")
    truth = planted["meters"]["bias_against_mean_pct"]
    assert set(frame.index) == set(truth)
    assert frame["bias_pct"].idxmin() == "M3"
    low = frame.loc["M3"]
    assert low["low"] < truth["M3"] < low["high"]
    for meter, bias in truth.items():
        # the mean over meters is zero here too; five intervals of 90 %, the project's target is 0.10 of a percent
        assert frame.loc[meter, "bias_pct"] == pytest.approx(bias, abs=0.10)


def test_whose_work_comes_back(demo_histories, planted, remembered):
    frame = remembered(count_callbacks)(demo_histories).to_frame()
    people = frame[frame["by"].isin(["technician", "vendor"])].set_index("value")
    truth = planted["people"]["by_person"]
    worst = max(truth, key=lambda name: truth[name]["callback_factor"])
    assert people["share"].idxmax() == worst
    assert people.loc[worst, "low"] > people["high"].drop(worst).max()
    assert people.loc[worst, "alert"] == "yes"
    assert (people["alert"].drop(worst) == "no").all()
    for name, person in truth.items():
        assert people.loc[name, "low"] <= person["share"] <= people.loc[name, "high"], name
    everyone = frame[frame["by"] == "all"].iloc[0]
    # the key divides by all calls, call-backs among them; the answer by those that aren't
    assert everyone["share"] == pytest.approx(planted["people"]["all_came_back"] / everyone["calls"], abs=0.02)


def test_costs_reconcile_to_the_cent(demo_histories, demo_key):
    totals = cost_totals(count_costs(demo_histories))
    for name, amount in demo_key["totals"]["money"].items():
        assert totals[name] == Decimal(amount), name


@pytest.fixture(scope="module")
def fleet_needs(demo_demand):
    """Return the fleet's needs by part number, refrigerant (which the key doesn't count) left out."""
    table = demo_demand.answer.to_frame()
    fleet = table[(table["building"] == "") & (table["property"] == "") & (table["component"] != "refrigerant")]
    return fleet


def summed_by_part(demo_demand, part_no):
    groups, draws = demo_demand.summed(["part_no"])
    return draws[:, groups["part_no"].tolist().index(part_no)]


def test_the_season_planned_for_is_the_keys(demo_demand, demo_key):
    season = demo_demand.season
    assert [season.from_date.isoformat(), season.to_date.isoformat()] == demo_key["truth"]["forecast"]["season"]


def test_true_needs_lie_within_the_forecasts(demo_demand, demo_key):
    pieces = demo_key["truth"]["forecast"]["pieces"]
    known = set(demo_demand.cells["part_no"])
    inside = []
    for part_no, truth in pieces.items():
        low, high = np.quantile(summed_by_part(demo_demand, part_no), [0.05, 0.95]) if part_no in known else (0, 0)
        inside.append(low <= truth["mean"] <= high)
    assert np.mean(inside) >= 0.85, dict(zip(pieces, inside, strict=True))


def test_the_fleet_total_is_within_15_percent(fleet_needs, demo_key):
    truth = demo_key["truth"]["forecast"]
    total = fleet_needs.loc[fleet_needs["why"] == "", "mean"].sum()
    assert total == pytest.approx(truth["pieces_all"]["mean"], rel=0.15)  # the brief's own bound
    for why in ("failed", "weak"):
        mean = fleet_needs.loc[fleet_needs["why"] == why, "mean"].sum()
        assert mean == pytest.approx(truth["pieces_by_why"][why]["mean"], rel=0.15), why  # likewise


def test_a_rating_not_in_the_catalogue_is_a_line_of_its_own(fleet_needs, demo_key):
    row = fleet_needs[
        (fleet_needs["part_no"] == "part number unknown")
        & (fleet_needs["component"] == "run capacitor")
        & (fleet_needs["why"] == "")
    ]
    assert len(row) == 1
    assert row.iloc[0]["units"] >= len(demo_key["traps"]["rating_not_in_catalogue"]["units"])


def test_buildings_of_the_same_name_stay_apart(demo_demand):
    table = demo_demand.answer.to_frame()
    first = table[table["building"] == "1"]
    assert set(first["property"]) == {"Quernstone Court", "Tansyfield Commons"}

"""Refrigerant: what was topped up, how fast it seems to leak, which units come back for more, what a year takes."""

import datetime as dt

import numpy as np
import pytest
from small_logs import histories_of, kept, one_visit, unit, visit

from fleet.analysis.poisson import garwood_interval
from fleet.analysis.refrigerant_order import COLUMNS as ORDER_COLUMNS
from fleet.analysis.refrigerant_order import forecast_refrigerant
from fleet.analysis.refrigerant_use import COLUMNS, track_refrigerant
from fleet.analysis.year_ahead import LEAST_YEAR_SPREAD, draw_year_ahead, year_spread
from fleet.errors import AnalysisError

WINDOW = [kept("2022-01-01", "2024-12-31")]
PLATE = {"refrigerant": "R-410A", "charge_oz": 160}


def top_up(key, tag, day, ounces, **cells):
    return visit(key, tag, day, finding="refrigerant leak", refrigerant_added_oz=ounces, **cells)


def part(key, component, **cells):
    return {"visit_id": key, "component": component, "quantity": 1, "why": "failed", **cells}


def log_of(*visits, units=None, **tables):
    return {"visits": visits, "equipment": units or [unit("U1", **PLATE)], "coverage": WINDOW} | tables


def rows_of(folder, *visits, **tables):
    answer = track_refrigerant(histories_of(folder, **log_of(*visits, **tables)))
    return answer, answer.to_frame().set_index("equipment_id")


def test_the_published_example(tmp_path):
    # 10 lb: half a pound 73 days before a pound and a half: 75 % annualized, 20 % rolling (40 CFR 82.152)
    answer, rows = rows_of(tmp_path, top_up("V1", "U1", "2024-04-01", 8), top_up("V2", "U1", "2024-06-13", 24))
    row = rows.loc["U1"]
    assert list(answer.table.columns) == [column.name for column in COLUMNS]
    assert (row["annualized_pct"], row["rolling_pct"]) == (pytest.approx(75.0), pytest.approx(20.0))
    assert row["rolling_now_pct"] == pytest.approx(20.0)
    assert (row["top_ups"], row["top_up_oz"], row["unmended"]) == (2, 32.0, 2)
    years = 1096 / 365.25
    assert row["oz_per_year"] == pytest.approx(32 / years)
    exact = garwood_interval(2, years)
    assert (row["low"], row["high"]) == (pytest.approx(16 * exact.low), pytest.approx(16 * exact.high))


def test_additions_of_one_day_are_one_top_up(tmp_path):
    visits = [top_up("V1", "U1", "2024-04-01 08:00", 8), top_up("V2", "U1", "2024-04-01 16:00", 8)]
    row = rows_of(tmp_path, *visits)[1].loc["U1"]
    assert (row["top_ups"], row["top_up_oz"]) == (1, 16.0)
    assert row["annualized_pct"] == pytest.approx(10.0)  # the log was kept for over a year before


def test_without_a_year_before_it_the_first_top_up_has_no_annualized_rate(tmp_path):
    row = rows_of(tmp_path, top_up("V1", "U1", "2022-04-11", 16))[1].loc["U1"]
    assert np.isnan(row["annualized_pct"])
    assert row["rolling_pct"] == pytest.approx(10.0)
    assert row["note"].startswith("the log was kept only 100 days before the one top-up")


def test_a_unit_installed_in_the_log_counts_from_its_installation(tmp_path):
    row = rows_of(
        tmp_path, top_up("V1", "U1", "2023-03-15", 16), units=[unit("U1", installed_on="2023-01-01", **PLATE)]
    )[1].loc["U1"]
    assert row["annualized_pct"] == pytest.approx(10.0 * 365 / 73)


def test_a_gap_in_the_log_hides_additions(tmp_path):
    gap = [kept("2022-01-01", "2022-12-31"), kept("2024-01-01", "2024-12-31")]
    visits = [top_up("V1", "U1", "2022-12-01", 16), top_up("V2", "U1", "2024-03-01", 16)]
    row = rows_of(tmp_path, *visits, coverage=gap)[1].loc["U1"]
    assert np.isnan(row["annualized_pct"])
    assert row["top_ups"] == 2


def test_an_unknown_charge_gives_ounces_only(tmp_path):
    answer, rows = rows_of(tmp_path, top_up("V1", "U1", "2024-04-01", 16), units=[unit("U1", refrigerant="R-22")])
    row = rows.loc["U1"]
    assert np.isnan(row[["annualized_pct", "rolling_pct", "rolling_now_pct"]].astype(float)).all()
    assert (row["top_up_oz"], row["rule"]) == (16.0, "unknown")
    assert row["note"] == "full charge unknown: ounces only, no percent"
    assert any("1 unit isn't known" in note for note in answer.notes)


def test_an_opened_circuit_is_filled_not_leaking(tmp_path):
    visits = [top_up("V1", "U1", "2024-04-01", 16), visit("V2", "U1", "2024-05-01", refrigerant_added_oz=100),
              top_up("V3", "U1", "2024-05-31", 8)]  # fmt: skip
    answer, rows = rows_of(tmp_path, *visits, parts_used=[part("V2", "compressor")])
    row = rows.loc["U1"]
    assert (row["top_ups"], row["top_up_oz"], row["recharge_oz"]) == (2, 24.0, 100.0)
    assert row["annualized_pct"] == pytest.approx(100 * 8 / 160 * 365 / 30)  # since the circuit was filled
    assert row["unmended"] == 1
    assert answer.excluded["fillings of circuits opened anyway, no leak"] == 1


def test_refrigerant_among_the_parts_counts_once(tmp_path):
    parts = [part("V1", "refrigerant", quantity=12), part("V2", "refrigerant", quantity=9)]
    visits = [top_up("V1", "U1", "2024-04-01", ""), top_up("V2", "U1", "2024-05-01", 9)]
    row = rows_of(tmp_path, *visits, parts_used=parts)[1].loc["U1"]
    assert row["top_up_oz"] == 21.0


def test_three_top_ups_without_a_part_are_named_and_a_mended_leak_is_not(tmp_path):
    visits = [top_up(f"{tag}{k}", tag, f"2024-0{k + 3}-01", 16) for tag in ("A", "B", "C") for k in range(3)]
    units = [unit("A", **PLATE), unit("B", **PLATE), unit("C", retired_on="2024-09-01", **PLATE)]
    answer, rows = rows_of(tmp_path, *visits, units=units, parts_used=[part("B1", "refrigerant leak")])
    assert rows["alert"].to_dict() == {"A": "yes", "B": "no", "C": "no"}
    assert rows["unmended"].to_dict() == {"A": 3, "B": 1, "C": 3}
    assert rows.loc["A", "unmended_since"] == dt.date(2024, 3, 1)
    assert rows.index[0] == "A"
    assert any(note.startswith("1 unit in service topped up 3 times or more") for note in answer.notes)


def test_top_ups_a_week_apart_are_marked(tmp_path):
    row = rows_of(tmp_path, top_up("V1", "U1", "2024-04-01", 16), top_up("V2", "U1", "2024-04-08", 8))[1].loc["U1"]
    assert "7 days apart" in row["note"]


def test_over_a_charge_in_a_year_is_said(tmp_path):
    visits = [top_up(f"V{k}", "U1", f"2024-0{k}-01", 70) for k in (3, 5, 7)]
    row = rows_of(tmp_path, *visits)[1].loc["U1"]
    assert "topped up with 131 % of its charge in 2024" in row["note"]


def test_every_answer_says_it_is_an_indicator_and_gives_the_cautions(tmp_path):
    for answer in (
        track_refrigerant(histories_of(tmp_path / "a", **log_of(top_up("V1", "U1", "2024-04-01", 16)))),
        forecast_refrigerant(histories_of(tmp_path / "b", **log_of(top_up("V1", "U1", "2024-04-01", 16)))),
    ):
        said = " ".join(answer.notes)
        for phrase in (
            "not a compliance result",
            "50 lb",
            "15 lb",
            "certified persons",
            "mildly flammable",
            "not a repair",
        ):
            assert phrase in said


def test_a_log_without_refrigerant_says_so(tmp_path):
    used, ahead = (ask(one_visit(tmp_path / ask.__name__)) for ask in (track_refrigerant, forecast_refrigerant))
    assert used.table.iloc[0]["top_ups"] == 0
    assert "No refrigerant was added" in used.notes[0]
    assert "No refrigerant was added" in ahead.notes[0]
    assert np.isnan(ahead.table.iloc[0]["mean_lb"])


@pytest.mark.parametrize("repeated", [0, 1])
def test_a_run_needs_two(tmp_path, repeated):
    with pytest.raises(AnalysisError, match="2 or more"):
        track_refrigerant(one_visit(tmp_path), repeated=repeated)


def test_what_was_added_before_the_log_or_after_the_unit_is_left_out(tmp_path):
    gap = [kept("2022-01-01", "2022-12-31"), kept("2024-01-01", "2024-12-31")]
    answer, rows = rows_of(tmp_path, top_up("V1", "U1", "2023-06-01", 16), coverage=gap)
    assert rows.loc["U1", "top_ups"] == 0
    assert answer.excluded["additions while no log was kept or no unit was in service"] == 1


def fleet_of(names, n=40, each=3, ounces=32):
    """Return units of each refrigerant, of which the first few are topped up once a year."""
    units = [unit(f"{name}-{k}", refrigerant=name, charge_oz=96) for name in names for k in range(n)]
    visits = [top_up(f"{name}-{k}-{year}", f"{name}-{k}", f"{year}-07-0{k + 1}", ounces)
              for name in names for k in range(each) for year in (2022, 2023, 2024)]  # fmt: skip
    return log_of(*visits, units=units)


def test_pounds_by_refrigerant(tmp_path):
    answer = forecast_refrigerant(histories_of(tmp_path, **fleet_of(["R-410A", "R-32"])))
    assert list(answer.table.columns) == [column.name for column in ORDER_COLUMNS]
    row = answer.to_frame().set_index("refrigerant").loc["R-32"]
    assert (row["units"], row["additions"], row["added_lb"], row["safety_class"]) == (40, 9, 18.0, "A2L")
    assert row["charge_lb"] == pytest.approx(240.0)
    assert row["oz_per_unit_year"] == pytest.approx(9 * 32 / (40 * 1096 / 365.25))
    # 9.5 expected additions in three years (Jeffreys), 2 lb each
    assert row["mean_lb"] == pytest.approx(2 * 9.5 * 365.25 / 1096, rel=0.05)
    assert row["q05"] <= row["q50"] <= row["q95"]
    assert row["q05"] < 6.0 < row["q95"]
    assert any("R-32 can burn" in note for note in answer.notes)


def test_the_same_seed_gives_the_same_forecast(tmp_path):
    built = histories_of(tmp_path, **fleet_of(["R-410A"]))
    once, again, other = (forecast_refrigerant(built, seed=seed).table for seed in (3, 3, 4))
    assert once.equals(again)
    assert not once.equals(other)


def test_spellings_of_a_refrigerant_are_one_and_units_without_one_stand_apart(tmp_path):
    units = [unit("A", refrigerant="R-410A"), unit("B", refrigerant="r410a"), unit("C"), unit("D", refrigerant="XYZ")]
    answer = forecast_refrigerant(histories_of(tmp_path, **log_of(top_up("V1", "A", "2024-04-01", 16), units=units)))
    rows = answer.table.set_index("refrigerant")
    assert rows["units"].to_dict() == {"R-410A": 2, "not recorded": 1, "XYZ": 1}
    assert rows.loc["not recorded", "note"].startswith("only 0 additions")


def test_a_refrigerant_no_unit_holds_any_more_has_no_forecast(tmp_path):
    units = [unit("A", refrigerant="R-22", retired_on="2023-01-01"), unit("B", refrigerant="R-32")]
    answer = forecast_refrigerant(histories_of(tmp_path, **log_of(top_up("V1", "A", "2022-04-01", 16), units=units)))
    row = answer.table.set_index("refrigerant").loc["R-22"]
    assert np.isnan(row["mean_lb"])
    assert row["note"] == "no unit in service holds it, so no forecast"


def test_spread_of_years():
    assert year_spread([10, 10, 10], [1, 1, 1]) == LEAST_YEAR_SPREAD
    assert year_spread([0, 0], [1, 1]) == LEAST_YEAR_SPREAD
    # variance 1800 about a mean of 60 where chance gives 60: tau^2 = (1800 - 60) / 60^2
    assert year_spread([30, 90], [1, 1]) == pytest.approx(np.sqrt((1800 - 60) / 3600))


def test_a_year_ahead_needs_something_to_go_by():
    with pytest.raises(AnalysisError, match="at least one of both"):
        draw_year_ahead(np.random.default_rng(1), amounts=[], counts=[0], exposures=[1.0], exposure_ahead=1.0)


def test_a_year_ahead_is_covered_as_often_as_promised():
    # 300 invented fleets: six years and the one after, all of one law; nine in ten must lie inside the interval
    rng = np.random.default_rng(20)
    inside = []
    for _ in range(300):
        factors = rng.gamma(1 / 0.2**2, 0.2**2, size=7)
        counts = rng.poisson(18.0 * factors)
        size = rng.lognormal(np.log(30), 0.5, size=int(counts.sum()))
        past = int(counts[:6].sum())
        ahead = draw_year_ahead(
            rng, amounts=size[:past], counts=counts[:6], exposures=np.full(6, 300.0), exposure_ahead=300.0, draws=600
        )
        low, high = np.quantile(ahead, [0.05, 0.95])
        inside.append(low <= size[past:].sum() <= high)
    assert 0.85 <= np.mean(inside) <= 0.96

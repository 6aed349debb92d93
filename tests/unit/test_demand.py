"""Next season's needs: which part a unit takes, how reasons and quantities count, how summers differ."""

import datetime as dt

import numpy as np
import pytest
from small_logs import histories_of, kept, unit, visit

from fleet.errors import PlanError
from fleet.planning.demand import COLUMNS, forecast_demand
from fleet.planning.past_seasons import next_season

CATALOGUE = [
    {"part_no": "C40", "component": "run capacitor", "herm_uf": 40, "fan_uf": 5, "unit_cost": 18},
    {"part_no": "C40-DEAR", "component": "run capacitor", "herm_uf": 40, "fan_uf": 5, "unit_cost": 25},
    {"part_no": "C35-G", "component": "run capacitor", "herm_uf": 35, "fan_uf": 5, "unit_cost": 16, "fits": "G"},
    {"part_no": "C-F", "component": "run capacitor", "unit_cost": 15, "fits": "F"},
    {"part_no": "K-P", "component": "contactor", "unit_cost": 20, "fits": "P;Q"},
    {"part_no": "CP15", "component": "compressor", "tons": 1.5, "unit_cost": 400, "fits": "P"},
    {"part_no": "CP20", "component": "compressor", "tons": 2, "unit_cost": 450, "fits": "P"},
    {"part_no": "FM-1", "component": "fan motor", "unit_cost": 100},
    {"part_no": "FM-2", "component": "fan motor", "unit_cost": 90},
    {"part_no": "TH", "component": "thermostat", "unit_cost": 40},
]


def fitted(key, tag, day, component, why="failed", quantity=1, **part):
    """Return a visit and its part."""
    call = "preventive maintenance" if why == "preventive" else "no cooling"
    return (
        visit(key, tag, day, call_type=call),
        {"visit_id": key, "component": component, "why": why, "quantity": quantity, **part},
    )


def log_of(folder, pairs, *, equipment, window=("2020-01-01", "2023-12-31"), as_of=None, **tables):
    return histories_of(
        folder, as_of=as_of, coverage=[kept(*window)], equipment=equipment,
        visits=[pair[0] for pair in pairs], parts_used=[pair[1] for pair in pairs], **tables,
    )  # fmt: skip


@pytest.fixture(scope="module")
def fits(tmp_path_factory):
    """Part and basis by (unit, component) in a log with one unit for each rule."""
    bare = {"herm_uf": "", "fan_uf": ""}
    histories = log_of(
        tmp_path_factory.mktemp("fits"),
        [
            fitted("V1", "P1", "2021-07-01", "fan motor", part_no="FM-1"),
            fitted("V2", "P2", "2022-07-01", "fan motor", part_no="FM-2"),
            fitted("V3", "Z1", "2022-08-01", "run capacitor", part_no="C-COUNTER"),
            fitted("V4", "Z1", "2022-08-02", "wiring"),
            fitted("V5", "P1", "2022-08-02", "contactor", part_no="K-OLD"),
        ],
        equipment=[
            unit("P1", model_family="P", tons=1.5),
            unit("P2", model_family="P", tons=2),
            unit("P3", model_family="P"),
            unit("F1", model_family="F", **bare),
            unit("F2", model_family="F"),
            unit("G1", model_family="G", herm_uf=35),
            unit("H1", model_family="H", herm_uf=35),
            unit("Z1", model_family="Z", herm_uf=27.5, fan_uf=4),
            unit("Z2", model_family="Z", herm_uf=27.5, fan_uf=4),
            unit("Y1", model_family="Y", herm_uf=27.5, fan_uf=4),
        ],
        catalogue=CATALOGUE,
    )
    forecast_demand(histories, draws=50)
    rows = histories.database.rows(
        "select equipment_id, component, part_no, f.basis from history.part_now as f join history.unit using (unit_id)"
    )
    yield {(tag, component): (part_no, basis) for tag, component, part_no, basis in rows}
    histories.close()


@pytest.mark.parametrize(
    ("tag", "component", "part_no", "basis"),
    [
        ("P1", "contactor", "K-P", "fits"),  # the catalogue's word outranks what was fitted
        ("F1", "run capacitor", "C-F", "fits"),  # no rating known: the family decides
        ("F2", "run capacitor", "C-F", "fits"),  # the catalogue gives no rating to disagree with
        ("P1", "run capacitor", "C40", "rating"),  # of two that fit the cheaper
        ("G1", "run capacitor", "C35-G", "fits"),
        ("H1", "run capacitor", "C35-G", "rating"),  # another family's, but the rating is what counts
        ("P1", "compressor", "CP15", "fits"),  # and the tons agree
        ("P2", "compressor", "CP20", "fits"),
        ("P1", "fan motor", "FM-1", "last fitted in the unit"),
        ("P2", "fan motor", "FM-2", "last fitted in the unit"),
        ("P3", "fan motor", "FM-2", "last fitted in the family"),
        ("Z1", "run capacitor", "C-COUNTER", "last fitted in the unit"),
        ("Z2", "run capacitor", "C-COUNTER", "last fitted in the family"),
        ("Y1", "run capacitor", "part number unknown", "unknown"),
        ("Z1", "thermostat", "TH", "only one in the catalogue"),
        ("Z1", "fan motor", "part number unknown", "unknown"),  # two in the catalogue, nothing to choose by
        ("Z1", "wiring", "part number unknown", None),
    ],
)
def test_which_part_fits(fits, tag, component, part_no, basis):
    assert fits[tag, component] == (part_no, basis)


def test_every_unit_has_a_line_for_every_component(fits):
    components = {component for _, component in fits}
    tags = {tag for tag, _ in fits}
    assert len(fits) == len(components) * len(tags)


BUILDINGS = ("1", "2", "3")


EACH_SUMMER = (
    [("contactor", "failed", 1)] * 4 + [("contactor", "weak", 1)] * 2 + [("dirty filter", "preventive", 3)] * 4
)
CAPACITORS = {
    (2020, "1"): ["failed"] * 4 + [""],
    (2021, "1"): ["weak", "weak", "", "upgrade"],
    (2022, "1"): ["", "", "failed", "failed"],
    (2023, "1"): ["failed", "failed"],
    (2021, "3"): ["weak", "", ""],
    **{(year, "2"): ["failed"] for year in range(2020, 2024)},
}


def steady_log(folder, *, copies=1, weather=None, as_of=None, extra=(), drop_weather=False):
    """Four summers, three buildings of ten units; each year and building 4 contactors fail, 2 are weak, 4 rounds.

    A round changes three filters. Which units it is, is drawn; `copies` makes the fleet so many times as large.
    """
    rng = np.random.default_rng(7)
    equipment = [
        unit(f"B{b}-{c}-{i:02d}", building=b, installed_on="2012-05-01")
        for b in BUILDINGS for c in range(copies) for i in range(10)
    ]  # fmt: skip
    pairs = []
    for year, b in [(year, b) for year in range(2020, 2024) for b in BUILDINGS]:
        needs = [*EACH_SUMMER, *(("run capacitor", why, 1) for why in CAPACITORS.get((year, b), []))]
        for i, (component, why, quantity) in enumerate(needs):
            day, which = dt.date(year, 5 + i % 4, 1 + int(rng.integers(28))), int(rng.integers(10))
            for c in range(copies):
                key, tag = f"{year}-{b}-{c}-{i}", f"B{b}-{c}-{which:02d}"
                number = {"part_no": component[:3].upper()}
                pairs.append(fitted(key, tag, day.isoformat(), component, why, quantity, **number))
    tables = {} if drop_weather else {"weather": weather or summers(dict.fromkeys(range(2012, 2024), 0.0))}
    return log_of(folder, [*pairs, *extra], equipment=equipment, as_of=as_of, **tables)


def summers(anomaly):
    """Return daily weather from April to September, warmer by so many degrees in each year."""
    return [
        {"property": "Oak Row", "date": (dt.date(year, 4, 1) + dt.timedelta(days=d)).isoformat(),
         "high_f": 88 + extra, "low_f": 68 + extra}
        for year, extra in anomaly.items() for d in range(183)
    ]  # fmt: skip


@pytest.fixture(scope="module")
def steady(tmp_path_factory):
    histories = steady_log(tmp_path_factory.mktemp("steady"))
    yield histories
    histories.close()


@pytest.fixture(scope="module")
def forecast(steady):
    return forecast_demand(steady)


def lines(forecast, **cells):
    table = forecast.answer.to_frame()
    for name, value in cells.items():
        table = table[table[name] == value]
    return table


def test_table_has_the_documented_columns(forecast):
    assert list(forecast.answer.table.columns) == [column.name for column in COLUMNS]


def test_a_steady_past_gives_the_same_again(forecast):
    """Four summers of 12 failed contactors: next summer's mean is near 12 (a year's own luck and ageing aside)."""
    fleet = lines(forecast, building="", component="contactor")
    assert fleet.set_index("why").loc["failed", "mean"] == pytest.approx(12, rel=0.15)
    assert fleet.set_index("why").loc["weak", "mean"] == pytest.approx(6, rel=0.15)  # a year's own luck, learnt ageing
    row = fleet.set_index("why").loc["failed"]
    assert row["q05"] < row["q50"] < row["q95"]
    assert row["q05"] >= 4  # Poisson alone: 7; a fleet of 48 failures is not that unsure


def test_season_defaults_to_the_next_summer(forecast):
    assert (forecast.season.from_date, forecast.season.to_date) == (dt.date(2024, 4, 1), dt.date(2024, 9, 30))
    assert next_season(dt.date(2026, 3, 31)).from_date == dt.date(2026, 4, 1)
    assert next_season(dt.date(2026, 4, 1)).from_date == dt.date(2027, 4, 1)  # begins after the as-of day


def test_reasons_add_up_draw_by_draw(forecast):
    """The row with `why` blank is the sum of its reasons in each future, so its mean and its quantiles follow."""
    groups, summed = forecast.summed(["property", "building", "part_no", "component"])
    by_reason, split = forecast.summed(["property", "building", "part_no", "component", "why"])
    for place, group in enumerate(groups.itertuples(index=False)):
        parts = [split[:, i] for i, row in enumerate(by_reason.itertuples(index=False)) if row[:4] == tuple(group)]
        assert (np.sum(parts, axis=0) == summed[:, place]).all()
        row = lines(forecast, property=group[0], building=group[1], part_no=group[2], component=group[3], why="").iloc[
            0
        ]
        assert row["mean"] == pytest.approx(summed[:, place].mean())
        assert row["q95"] == np.quantile(summed[:, place], 0.95, method="inverted_cdf")


def test_buildings_sum_to_the_fleet_jointly(forecast):
    """Draws are summed, never quantiles: the fleet's 95 % point is below the sum of the buildings'."""
    _, fleet = forecast.summed(["part_no"])
    _, by_building = forecast.summed(["building"])
    assert (by_building.sum(axis=1) == fleet.sum(axis=1)).all()
    own = lines(forecast, component="contactor", why="")
    assert own.loc[own["building"] != "", "mean"].sum() == pytest.approx(own.loc[own["building"] == "", "mean"].sum())
    assert own.loc[own["building"] != "", "q95"].sum() > own.loc[own["building"] == "", "q95"].sum()


def test_unknown_reasons_are_shared_as_the_known_ones(forecast, steady):
    """Capacitors: 14 failed or weak... whatever the reasons, failed + weak + upgrade keep their proportions."""
    counts = dict(steady.database.rows(
        "select why, count(*)::integer from history.season_fit where component = 'run capacitor' group by why"
    ))  # fmt: skip
    known = counts["failed"] + counts["weak"] + counts["upgrade"]
    share = (known + counts["unknown"]) / known
    assert share > 1.2
    fleet = lines(forecast, building="", component="run capacitor").set_index("why")["mean"]
    assert fleet["failed"] == pytest.approx(counts["failed"] * share / 4, rel=0.15)  # a year's own luck, learnt ageing
    assert fleet["weak"] == pytest.approx(counts["weak"] * share / 4, rel=0.20)  # a year's own luck, learnt ageing


def test_upgrades_are_left_out_and_counted(forecast):
    assert "upgrade" not in set(forecast.answer.to_frame()["why"])
    assert forecast.answer.excluded["parts fitted as upgrades in past seasons"] == 1
    row = lines(forecast, building="", component="run capacitor", why="").iloc[0]
    assert "1 fitted as upgrades in past seasons are left out" in row["note"]


def test_quantities_count_pieces(forecast):
    """Each round takes three filters: needs come in threes; 12 rounds a summer are 36 pieces."""
    _, draws = forecast.summed(["component"])
    groups, _ = forecast.summed(["component"])
    filters = draws[:, groups["component"].tolist().index("dirty filter")]
    assert (filters % 3 == 0).all()
    assert filters.mean() == pytest.approx(36, rel=0.15)  # a year's own luck, learnt ageing


def test_units_counts_who_takes_the_part(forecast):
    assert lines(forecast, building="", component="contactor", why="")["units"].tolist() == [30]
    assert lines(forecast, building="2", component="contactor", why="")["units"].tolist() == [10]


def test_same_seed_same_answer(steady):
    first, again = (forecast_demand(steady, draws=300, seed=5) for _ in range(2))
    assert (first.draws == again.draws).all()
    other = forecast_demand(steady, draws=300, seed=6)
    assert (first.draws != other.draws).any()


def test_a_fleet_twice_as_large_needs_twice_as_much(forecast, tmp_path):
    double = forecast_demand(steady_log(tmp_path, copies=2))
    one, two = (lines(f, building="", component="contactor", why="")["mean"].iloc[0] for f in (forecast, double))
    assert two == pytest.approx(2 * one, rel=0.06)  # a year's own luck, learnt ageing


@pytest.fixture(scope="module")
def heated(tmp_path_factory):
    """Twelve weather years from 4 degrees below the usual to 5 above, in mixed order."""
    anomaly = dict(zip(range(2012, 2024), [0, 5, -4, 1, -2, 3, -1, 4, 0, -3, 2, 1], strict=True))
    histories = steady_log(tmp_path_factory.mktemp("heated"), weather=summers(anomaly))
    yield histories
    histories.close()


def test_hot_summers_need_more_than_mild_ones(heated):
    means = {}
    for summer in ("hot", "normal", "any", "mild"):
        forecast = forecast_demand(heated, summer=summer, draws=2000)
        means[summer] = lines(forecast, building="", component="contactor", why="failed")["mean"].iloc[0]
        rounds = lines(forecast, building="", component="dirty filter", why="preventive")["mean"].iloc[0]
        assert rounds == pytest.approx(36, rel=0.15)  # rounds don't follow the heat
    assert means["hot"] > 1.08 * means["normal"] > 1.08**2 * means["mild"]
    assert means["mild"] < means["any"] < means["hot"]
    assert "the 4 mild ones only" in " ".join(forecast.notes)


def test_no_weather_means_a_stated_prior(tmp_path):
    histories = steady_log(tmp_path, drop_weather=True)
    forecast = forecast_demand(histories)
    assert any(note.startswith("Only 0 weather years on record") and "stated prior" in note for note in forecast.notes)
    hot, mild = (
        lines(forecast_demand(histories, summer=s), building="", component="contactor", why="failed")["mean"].iloc[0]
        for s in ("hot", "mild")
    )
    assert hot > mild


def test_a_short_weather_record_is_said(tmp_path):
    forecast = forecast_demand(steady_log(tmp_path, weather=summers({2021: 1.0, 2022: -1.0, 2023: 0.0})))
    assert any(note.startswith("Only 3 weather years on record") for note in forecast.notes)


def test_as_of_knows_only_what_was_recorded(tmp_path):
    late = fitted("LATE", "B1-0-05", "2021-06-20", "contactor", part_no="CON")
    late[0]["recorded_at"] = "2022-03-01"
    histories = steady_log(tmp_path, as_of=dt.date(2021, 12, 31), extra=[late])
    forecast = forecast_demand(histories, draws=200)
    assert forecast.season.from_date == dt.date(2022, 4, 1)
    days = histories.database.rows("select max(day), count(*) filter (visit_id = 'LATE') from history.part")[0]
    assert days[0] <= dt.date(2021, 12, 31)
    assert days[1] == 0
    assert any("from 2 past seasons" in note for note in forecast.notes)


def test_retired_units_need_nothing(tmp_path):
    equipment = [unit("GONE", installed_on="2015-01-01", retired_on="2023-10-01", building="9"), unit("STAYS")]
    histories = log_of(
        tmp_path,
        [fitted("V1", "GONE", "2021-07-01", "contactor"), fitted("V2", "STAYS", "2022-07-01", "contactor")],
        equipment=equipment,
    )
    forecast = forecast_demand(histories, draws=200)
    assert set(forecast.cells["building"]) == {"1"}
    assert lines(forecast, building="", component="contactor", why="")["units"].tolist() == [1]


def test_reasons_never_written_down_are_taken_as_failures(tmp_path):
    pairs = [fitted(f"V{year}", "U", f"{year}-07-01", "transformer", why="") for year in (2021, 2022, 2023)]
    forecast = forecast_demand(log_of(tmp_path, pairs, equipment=[unit("U")]), draws=2000)
    row = lines(forecast, building="", component="transformer", why="failed").iloc[0]
    assert row["mean"] == pytest.approx(0.75, rel=0.25)  # three in four summers


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({"from_date": dt.date(2024, 4, 1)}, "needs both its first and its last day"),
        ({"from_date": dt.date(2024, 4, 2), "to_date": dt.date(2024, 4, 1)}, "has 0 days; it must have 1 to 366"),
        ({"from_date": dt.date(2024, 1, 1), "to_date": dt.date(2025, 3, 1)}, "has 426 days"),
        ({"from_date": dt.date(2023, 4, 1), "to_date": dt.date(2023, 9, 30)}, "not after the as-of day 2023-12-31"),
        ({"summer": "wet"}, "summer = 'wet'; choose from any, hot, normal, mild"),
    ],
)
def test_seasons_that_make_no_sense(steady, asked, said):
    with pytest.raises(PlanError, match=said):
        forecast_demand(steady, **asked)


def test_a_log_that_never_saw_the_season(tmp_path):
    histories = log_of(
        tmp_path,
        [fitted("V1", "U", "2023-11-10", "contactor")],
        equipment=[unit("U")],
        window=("2023-11-01", "2023-12-31"),
    )
    with pytest.raises(PlanError, match="the log saw no unit in service between 01 April and 30 September"):
        forecast_demand(histories)

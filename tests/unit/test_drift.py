"""Drift: parts and their readings, the mixed model, odd readings, and the answer's words."""

import datetime as dt

import numpy as np
import pytest
from scipy import stats
from small_logs import histories_of, kept, one_visit, unit, visit

from fleet.analysis.drift import COLUMNS, NEVER, estimate_drift, sections_outside_tolerance
from fleet.analysis.drift_parts import drift_parts
from fleet.analysis.drift_slopes import drift_slopes
from fleet.analysis.mixed_drift import SPREADS, DriftDesign, fit_mixed_drift
from fleet.analysis.theil_sen import weighted_median
from fleet.errors import AnalysisError

WINDOW = [kept("2020-01-01", "2024-12-31")]


def reading(key, section, value, **cells):
    return {"visit_id": key, "component": section, "value": value, **cells}


def part(key, **cells):
    return {"visit_id": key, "part_no": "RC", "component": "run capacitor", "quantity": 1, "why": "failed", **cells}


def rounds(tag, values, *, first=2020, section="herm"):
    """Return a spring round a year with one reading each."""
    visits = [
        visit(f"{tag}-{k}", tag, f"{first + k}-04-01", call_type="preventive maintenance") for k in range(len(values))
    ]
    return visits, [reading(f"{tag}-{k}", section, value) for k, value in enumerate(values)]


def fleet_of(seed=3, *, units=60, years=5, slope=-0.7, meters=("M1", "M2", "M3")):
    """Return a drifting fleet with known truth: herm and fan of every unit read each spring, some springs missed."""
    rng = np.random.default_rng(seed)
    visits, readings, truth = [], [], {}
    bias = {"M1": 0.4, "M2": 0.0, "M3": -0.4}
    for n in range(units):
        tag = f"U{n}"
        lines = {s: (rng.normal(-1.0, 1.5), slope * rng.lognormal(-0.08, 0.4)) for s in ("herm", "fan")}
        for s, (level, own) in lines.items():
            truth[tag, s] = level + own * (dt.date(2024, 12, 31) - dt.date(2020, 4, 1)).days / 365.25
        for k in range(years):
            if rng.random() < 0.4:
                continue
            meter = meters[int(rng.integers(len(meters)))]
            visits.append(visit(f"{tag}-{k}", tag, f"{2020 + k}-04-01", call_type="preventive maintenance"))
            for s, rated in (("herm", 40.0), ("fan", 5.0)):
                true = rated * (1 + (lines[s][0] + lines[s][1] * k) / 100)
                read = true * (1 + bias[meter] / 100) * (1 + rng.normal(0, 0.9) / 100)
                readings.append(reading(f"{tag}-{k}", s, round(read, 3), meter=meter))
    equipment = [unit(f"U{n}", installed_on="2012-01-01", tolerance_pct=6) for n in range(units)]
    return {"visits": visits, "readings": readings, "equipment": equipment, "coverage": WINDOW}, truth


@pytest.fixture(scope="module")
def fleet(tmp_path_factory):
    log, truth = fleet_of()
    built = histories_of(tmp_path_factory.mktemp("fleet"), **log)
    yield estimate_drift(built), truth, built
    built.close()


def test_every_section_in_service_has_a_row(fleet):
    answer, truth, _ = fleet
    table = answer.to_frame()
    assert list(table.columns) == [column.name for column in COLUMNS]
    assert set(zip(table["equipment_id"], table["section"], strict=True)) == set(truth)


def test_interval_covers_the_truth(fleet):
    answer, truth, _ = fleet
    table = answer.to_frame()
    true = np.array([truth[key] for key in zip(table["equipment_id"], table["section"], strict=True)])
    inside = (true >= table["low"]) & (true <= table["high"])
    assert 0.80 <= inside.mean() <= 0.97  # 120 sections at 90 %
    error = table["pct"] - true
    assert abs(error.mean()) < 0.35
    assert np.sqrt((error**2).mean()) < 1.1


def test_leaves_tolerance_in_order_and_as_the_slope_says(fleet):
    answer, _, _ = fleet
    table = answer.to_frame()
    for row in table.itertuples():
        days = [row.leaves_tolerance_low, row.leaves_tolerance, row.leaves_tolerance_high]
        assert [day for day in days if day != NEVER] == sorted(day for day in days if day != NEVER)
        assert NEVER not in days[:2] or days[2] == NEVER
    sure = table.loc[(table["leaves_tolerance"] != NEVER) & (table["pct"] > -5)]
    assert len(sure) > 20
    for row in sure.itertuples():
        years = (dt.date.fromisoformat(row.leaves_tolerance) - answer.as_of).days / 365.25
        # the log scale bends the straight line by under a tenth
        assert row.pct + row.slope_pct_per_year * years == pytest.approx(-6.0, abs=0.35)


def test_advice_follows_the_chance(fleet):
    answer, _, _ = fleet
    table = answer.to_frame()
    assert set(table["advice"]) <= {"leave", "measure again", "change", "no reading"}
    assert (table.loc[table["p_out"] >= 0.5, "advice"] == "change").all()
    assert (table.loc[table["advice"] == "leave", "p_out"] < 0.1).all()
    outside = sections_outside_tolerance(answer)
    assert len(outside) == (table["p_out"] >= 0.5).sum()


def test_slopes_by_family_and_section(fleet):
    _, _, built = fleet
    answer = drift_slopes(built, replicates=100)
    table = answer.to_frame()
    both = table.loc[table["model_family"] == ""]
    assert both["section"].tolist() == ["herm", "fan"]
    for row in both.itertuples():
        assert row.low < row.slope_pct_per_year < row.high
        assert row.slope_pct_per_year == pytest.approx(-0.7, abs=0.2)
        assert row.shrunk_low < -0.7 < row.shrunk_high
    again = drift_slopes(built, replicates=100).to_frame()
    assert again["low"].tolist() == table["low"].tolist()  # the seed decides


def test_new_part_starts_again(tmp_path):
    visits, readings = rounds("U1", [39.0, 38.5])
    visits.append(visit("F1", "U1", "2022-08-01", finding="run capacitor"))
    readings += [
        reading("F1", "herm", 36.0),  # as found: the old part
        reading("F1", "herm", 40.2, stage="new"),
        reading("F1", "herm", 40.1, stage="left"),
    ]
    built = histories_of(
        tmp_path, visits=visits, readings=readings, parts_used=[part("F1")], equipment=[unit("U1")], coverage=WINDOW
    )
    row = estimate_drift(built).to_frame().set_index("section").loc["herm"]
    assert row["readings"] == 2
    assert row["last_reading"] == dt.date(2022, 8, 1)
    assert -2.5 < row["pct"] < 0.5
    parts = drift_parts(built)
    old = parts.readings.loc[parts.readings["part"].map(parts.sections["nth"]) == 0]
    assert old["dev_pct"].to_list() == pytest.approx([-2.5, -3.75, -10.0])
    # the fan section of the new part was never measured: a new part's value, not an old one's
    fan = estimate_drift(built).to_frame().set_index("section").loc["fan"]
    assert fan["advice"] == "no reading"
    assert fan["note"] == "not measured: its kind's value"
    assert fan["low"] < fan["pct"] < fan["high"]
    assert fan["pct"] > -3


def test_change_nobody_wrote_down_begins_a_part(tmp_path):
    log, _ = fleet_of(units=30)
    visits, readings = rounds("X1", [38.0, 37.7, 40.3, 40.2])
    log["visits"] += visits
    log["readings"] += readings
    log["equipment"].append(unit("X1", installed_on="2012-01-01"))
    answer = estimate_drift(histories_of(tmp_path, **log))
    row = answer.to_frame().set_index(["equipment_id", "section"]).loc[("X1", "herm")]
    assert row["readings"] == 2
    assert row["pct"] > -2.0
    assert any("1 readings jump up" in note for note in answer.notes)


def test_one_slip_upward_is_no_new_part(tmp_path):
    log, _ = fleet_of(units=30)
    visits, readings = rounds("X1", [38.6, 38.4, 43.5, 38.0])
    log["visits"] += visits
    log["readings"] += readings
    log["equipment"].append(unit("X1", installed_on="2012-01-01"))
    answer = estimate_drift(histories_of(tmp_path, **log))
    row = answer.to_frame().set_index(["equipment_id", "section"]).loc[("X1", "herm")]
    assert row["readings"] == 3
    assert -7.0 < row["pct"] < -4.0
    assert answer.excluded["single readings far above the others of the part"] == 1


def test_open_and_collapsed_sections_never_average_in(tmp_path):
    log, _ = fleet_of(units=30)
    for tag, last in (("X1", 0), ("X2", 26.0), ("X3", 35.2)):
        visits, readings = rounds(tag, [39.8, 39.7, 39.6])
        log["visits"] += [*visits, visit(f"{tag}-end", tag, "2024-07-01", finding="run capacitor")]
        log["readings"] += [*readings, reading(f"{tag}-end", "herm", last)]
        log["equipment"].append(unit(tag, installed_on="2012-01-01"))
    answer = estimate_drift(histories_of(tmp_path, **log))
    table = answer.to_frame().set_index(["equipment_id", "section"])
    for tag, pct, words in (("X1", -100, "open section"), ("X2", -35, "fell further"), ("X3", -12, "fell further")):
        row = table.loc[(tag, "herm")]
        assert row["pct"] == pytest.approx(pct, abs=1.0)
        assert words in row["note"]
        assert row["advice"] == "change"
        assert row["leaves_tolerance"] == "2024-12-31"
    assert answer.excluded["readings: open"] == 1
    assert answer.excluded["sections more than 15 % below rated: failed, no drift"] == 1
    assert answer.excluded["readings that fell further than drift explains"] == 1


def test_unsupported_zero_is_not_measured(tmp_path):
    visits, readings = rounds("U1", [39.0, 0.0])
    answer = estimate_drift(
        histories_of(tmp_path, visits=visits, readings=readings, equipment=[unit("U1")], coverage=WINDOW)
    )
    row = answer.to_frame().set_index("section").loc["herm"]
    assert row["readings"] == 1
    assert row["pct"] > -8
    assert answer.excluded["readings: not measured"] == 1


def test_tolerance_where_none_is_marked(tmp_path):
    visits, readings = rounds("U1", [39.0])
    built = histories_of(
        tmp_path,
        visits=visits,
        readings=readings,
        equipment=[unit("U1"), unit("U2", tolerance_pct=10)],
        coverage=WINDOW,
    )
    answer = estimate_drift(built)
    table = answer.to_frame().set_index(["equipment_id", "section"])
    assert table.loc[("U1", "herm"), "tolerance_pct"] == 6.0
    assert table.loc[("U2", "herm"), "tolerance_pct"] == 10.0
    assert any("No tolerance is marked for 2 sections: 6 %" in note for note in answer.notes)


def test_high_reading_is_doubted(tmp_path):
    visits, readings = rounds("U1", [44.0, 44.1, 43.9])
    row = estimate_drift(
        histories_of(tmp_path, visits=visits, readings=readings, equipment=[unit("U1")], coverage=WINDOW)
    )
    herm = row.to_frame().set_index("section").loc["herm"]
    assert herm["pct"] > 6
    assert herm["advice"] == "measure again"
    assert "suspect the meter or a wrong part" in herm["note"]


def test_section_without_a_rated_value(tmp_path):
    visits, readings = rounds("U1", [39.0])
    built = histories_of(
        tmp_path, visits=visits, readings=readings, equipment=[unit("U1", herm_uf="", fan_uf="")], coverage=WINDOW
    )
    table = estimate_drift(built).to_frame()
    assert len(table) == 1
    assert np.isnan(table.loc[0, "pct"])
    assert "no rated value" in table.loc[0, "note"]


def test_smallest_log(tmp_path):
    built = one_visit(tmp_path)
    answer = estimate_drift(built)
    assert answer.to_frame().empty
    assert any("Not enough data" in note for note in answer.notes)
    assert drift_slopes(built).to_frame()["slope_pct_per_year"].isna().all()
    with pytest.raises(AnalysisError, match="level"):
        estimate_drift(built, level=1.5)


# -- the model alone ---------------------------------------------------------------------------------------------------


def small_design(seed=2, parts=5):
    rng = np.random.default_rng(seed)
    part = np.sort(rng.integers(0, parts, 14))
    t = rng.uniform(0, 5, part.size)
    shared = np.column_stack([np.ones(part.size), t, rng.integers(0, 2, part.size)]).astype(float)
    return DriftDesign(
        y=rng.normal(-2, 2, part.size),
        t=t,
        part=part,
        running=rng.random(part.size) < 0.3,
        shared=shared,
        prior_mean=np.array([0.0, -0.5, 0.0]),
        prior_sd=np.array([2.0, 0.5, np.nan]),
        group=np.array([-1, -1, SPREADS.index("meter")]),
        new=rng.random(parts) < 0.5,
    )


def naive_posterior(design, spreads):
    """Solve the same model with the whole covariance matrix of all readings, in one piece."""
    n, parts = design.y.size, design.new.size
    z = np.zeros((n, 2 * parts))
    z[np.arange(n), 2 * design.part], z[np.arange(n), 2 * design.part + 1] = 1.0, design.t
    level = np.where(design.new, spreads["level_new"], spreads["level_old"])
    own = np.column_stack([level, np.full(parts, spreads["slope"])]).ravel()
    sd = np.where(np.isnan(design.prior_sd), spreads["meter"], design.prior_sd)
    noise = np.where(design.running, spreads["noise_running"], spreads["noise_bench"])
    effects = np.hstack([design.shared, z])
    precision = np.diag(np.concatenate([sd, own]) ** -2.0) + effects.T @ (effects / noise[:, None] ** 2)
    mean = np.concatenate([design.prior_mean, np.zeros(2 * parts)])
    right = effects.T @ (design.y / noise**2) + mean / np.concatenate([sd, own]) ** 2
    return np.linalg.solve(precision, right), np.linalg.inv(precision)


def test_prediction_equals_the_one_piece_solution():
    design = small_design()
    fit = fit_mixed_drift(design)
    mean, covariance = naive_posterior(design, fit.spreads)
    assert fit.effects == pytest.approx(mean[:3], abs=1e-8)
    assert fit.covariance == pytest.approx(covariance[:3, :3], abs=1e-8)
    at = np.full(5, 6.0)
    level = np.column_stack([np.ones(5), at, np.zeros(5)])
    slope = np.tile([0.0, 1.0, 0.0], (5, 1))
    lines = fit.lines(np.arange(5), at, level, slope)
    for p in range(5):
        pick_level, pick_slope = np.zeros(13), np.zeros(13)
        pick_level[:3], pick_slope[:3] = level[p], slope[p]
        pick_level[3 + 2 * p], pick_level[4 + 2 * p], pick_slope[4 + 2 * p] = 1.0, 6.0, 1.0
        assert lines.level[p] == pytest.approx(pick_level @ mean, abs=1e-8)
        assert lines.slope[p] == pytest.approx(pick_slope @ mean, abs=1e-8)
        assert lines.level_variance[p] == pytest.approx(pick_level @ covariance @ pick_level, abs=1e-8)
        assert lines.covariance[p] == pytest.approx(pick_level @ covariance @ pick_slope, abs=1e-8)
        assert lines.slope_variance[p] == pytest.approx(pick_slope @ covariance @ pick_slope, abs=1e-8)


def test_marginal_likelihood_is_that_of_the_whole_normal():
    design = small_design()
    fit = fit_mixed_drift(design)

    def whole(spreads):
        parts = design.new.size
        z = np.zeros((design.y.size, 2 * parts))
        rows = np.arange(design.y.size)
        z[rows, 2 * design.part], z[rows, 2 * design.part + 1] = 1.0, design.t
        level = np.where(design.new, spreads["level_new"], spreads["level_old"])
        own = np.column_stack([level, np.full(parts, spreads["slope"])]).ravel()
        sd = np.where(np.isnan(design.prior_sd), spreads["meter"], design.prior_sd)
        noise = np.where(design.running, spreads["noise_running"], spreads["noise_bench"])
        v = design.shared @ np.diag(sd**2) @ design.shared.T + z @ np.diag(own**2) @ z.T + np.diag(noise**2)
        return stats.multivariate_normal(design.shared @ design.prior_mean, v).logpdf(design.y), sd

    other = {name: value * 1.3 for name, value in fit.spreads.items()}
    (one, sd_one), (two, sd_two) = whole(fit.spreads), whole(other)
    found = fit.sums.solve(fit.spreads, sd_one)[2] - fit.sums.solve(other, sd_two)[2]
    assert found == pytest.approx(one - two, abs=1e-8)


def test_weighted_median():
    assert weighted_median(np.array([3.0, 1.0, 2.0]), np.array([1.0, 1.0, 1.0])) == 2.0
    assert weighted_median(np.array([1.0, 2.0]), np.array([1.0, 1.0])) == 1.5
    assert weighted_median(np.array([1.0, 2.0, 9.0]), np.array([1.0, 1.0, 5.0])) == 9.0
    assert np.isnan(weighted_median(np.zeros(0), np.zeros(0)))

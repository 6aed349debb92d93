"""Failure rates on logs small enough to count by hand, and the adjusted ratio on a fleet whose truth is known."""

import datetime as dt
import math

import numpy as np
import pytest
from scipy import stats
from small_logs import histories_of, kept, unit, visit

from fleet.analysis.poisson import garwood_interval, midp_interval
from fleet.analysis.rates import COLUMNS, estimate_rates
from fleet.errors import AnalysisError, SchemaError

YEAR = 365.25


def row_of(answer, component, **cells):
    frame = answer.to_frame()
    chosen = frame[frame["component"] == component]
    for name, value in cells.items():
        chosen = chosen[chosen[name] == value]
    assert len(chosen) == 1, chosen
    return chosen.iloc[0]


@pytest.fixture(scope="module")
def hand(tmp_path_factory):
    """Four units watched for 2022 and 2023 (730 days); D came on 1 July 2023, C left on 31 December 2022."""
    histories = histories_of(
        tmp_path_factory.mktemp("hand"),
        coverage=[kept("2022-01-01", "2023-12-31")],
        equipment=[
            unit("A", installed_on="2018-06-01", model_family="P"),
            unit("B", installed_on="2018-06-01", model_family="P"),
            unit("C", installed_on="2010-01-01", retired_on="2022-12-31", model_family="Q"),
            unit("D", installed_on="2023-07-01", model_family="Q"),
        ],
        visits=[
            visit("V1", "A", "2022-03-01", finding="contactor"),
            visit("V2", "A", "2022-03-31", finding="contactor"),  # 30 days later: the same chain
            visit("V3", "A", "2023-07-01", finding="contactor"),
            visit("V4", "B", "2023-06-30", finding="run capacitor"),
            visit("V5", "C", "2022-12-31", finding="contactor"),  # its last day counts
            visit("V6", "D", "2023-07-01", finding="run capacitor"),  # so does its first
            visit("V7", "B", "2022-05-01", finding="no fault found"),
            visit("V8", "B", "2022-04-01", finding="contactor", call_type="preventive maintenance"),
        ],
    )
    yield histories
    histories.close()


@pytest.fixture(scope="module")
def overall(hand):
    return estimate_rates(hand)


def test_failures_are_chains_and_unit_years_are_days(overall):
    # A and B 730 days each, C 365, D 1 July to 31 December: 184
    assert overall.to_frame().set_index("component")["failures"].to_dict() == {
        "run capacitor": 2, "contactor": 3, "": 5,
    }  # fmt: skip
    for component in ("contactor", "run capacitor", ""):
        assert row_of(overall, component)["unit_years"] == pytest.approx((730 + 730 + 365 + 184) / YEAR, rel=1e-12)


def test_rate_and_limits_are_at_least_garwoods(overall):
    years = 2009 / YEAR
    row = row_of(overall, "contactor")
    assert row["rate"] == pytest.approx(3 / years)
    # chi-square limits of 3 events (Garwood 1936); unlike units may only widen them
    assert row["low"] <= stats.chi2.ppf(0.05, 6) / 2 / years + 1e-12
    assert row["high"] >= stats.chi2.ppf(0.95, 8) / 2 / years - 1e-12


def test_limits_are_garwoods_where_units_are_alike(tmp_path):
    """Every unit fails once: the units do not differ, so only the exact law of counts is left."""
    tags = [f"U{i}" for i in range(6)]
    histories = histories_of(
        tmp_path,
        coverage=[kept("2023-01-01", "2023-12-31")],
        equipment=[unit(tag, installed_on="2015-01-01") for tag in tags],
        visits=[visit(f"V{tag}", tag, "2023-07-01", finding="fan motor") for tag in tags],
    )
    row = row_of(estimate_rates(histories), "fan motor")
    exact = garwood_interval(6, 6 * 365 / YEAR)
    assert (row["low"], row["high"]) == (pytest.approx(exact.low), pytest.approx(exact.high))


def test_the_total_row_adds_components_up(overall):
    frame = overall.to_frame()
    assert frame["component"].tolist()[-1] == ""
    assert row_of(overall, "")["failures"] == frame.loc[frame["component"] != "", "failures"].sum() == 5
    assert overall.n_used == 5


def test_columns_are_the_documented_ones(overall, hand):
    assert list(overall.table.columns) == [column.name for column in COLUMNS]
    grouped = estimate_rates(hand, by=["building", "model_family"])
    names = list(grouped.table.columns)
    assert names[:4] == ["property", "component", "building", "model_family"]
    assert set(names) - {"building", "model_family"} == {column.name for column in COLUMNS}


def test_cells_of_a_grouping(hand):
    answer = estimate_rates(hand, by=["model_family"])
    p, q = row_of(answer, "contactor", model_family="P"), row_of(answer, "contactor", model_family="Q")
    assert (p["failures"], q["failures"]) == (2, 1)
    assert p["unit_years"] == pytest.approx(1460 / YEAR)
    assert q["unit_years"] == pytest.approx((365 + 184) / YEAR)
    assert p["ratio"] == pytest.approx((2 / 1460) / (1 / 549))
    assert p["ratio"] * q["ratio"] == pytest.approx(1)
    assert p["ratio_low"] < p["ratio"] < p["ratio_high"]
    totals = answer.to_frame().query("component == ''")
    assert totals["failures"].sum() == 5
    assert totals["unit_years"].sum() == pytest.approx(2009 / YEAR)


def test_two_grouping_columns_give_cells_without_margins(hand):
    frame = estimate_rates(hand, by=["model_family", "building"]).to_frame().query("component == ''")
    assert frame[["model_family", "building"]].to_numpy().tolist() == [["P", "1"], ["Q", "1"]]


def test_the_same_column_twice_is_once(hand):
    assert estimate_rates(hand, by=["model_family", "model_family"]).settings["by"] == ("model_family",)


def test_age_bands_split_the_time_at_risk(hand):
    answer = estimate_rates(hand, by=["age_band"])
    years = answer.to_frame().query("component == ''").set_index("age_band")["unit_years"]
    # A and B turn five on 1 June 2023: 2022 (365) and 151 days of 2023 before it, 214 after
    assert years["00-05 years"] * YEAR == pytest.approx(2 * (365 + 151) + 184)
    assert years["05-10 years"] * YEAR == pytest.approx(2 * 214)
    assert years["10-15 years"] * YEAR == pytest.approx(365)
    assert years.sum() == pytest.approx(2009 / YEAR)
    assert row_of(answer, "contactor", age_band="00-05 years")["failures"] == 1
    assert row_of(answer, "contactor", age_band="05-10 years")["failures"] == 1
    assert row_of(answer, "run capacitor", age_band="05-10 years")["failures"] == 1


def test_unknown_age_and_family_are_groups_of_their_own(tmp_path):
    histories = histories_of(
        tmp_path,
        coverage=[kept("2023-01-01", "2023-12-31")],
        equipment=[unit("A", installed_on="2020-01-01"), unit("B", model_family="")],
        visits=[visit("V1", "B", "2023-06-01", finding="wiring")],
    )
    by_age = estimate_rates(histories, by=["age_band"])
    assert row_of(by_age, "wiring", age_band="unknown")["failures"] == 1
    by_family = estimate_rates(histories, by=["model_family"])
    assert row_of(by_family, "wiring", model_family="unknown")["failures"] == 1
    assert row_of(by_family, "wiring", model_family="A")["unit_years"] == pytest.approx(365 / YEAR)


def test_against_takes_ratios_to_one_group(tmp_path):
    histories = planted_fleet(tmp_path, np.random.default_rng(3), families={"P": 0.5, "Q": 1.0, "R": 2.0})
    answer = estimate_rates(histories, by=["model_family"], against="P", component="contactor")
    p, q, r = (row_of(answer, "contactor", model_family=name) for name in "PQR")
    assert math.isnan(p["ratio"])
    assert "the group ratios are taken to" in p["note"]
    assert q["ratio"] == pytest.approx(q["rate"] / p["rate"])
    assert r["ratio"] == pytest.approx(r["rate"] / p["rate"])
    assert math.isnan(p["adjusted_ratio"])
    assert r["adjusted_low"] < r["adjusted_ratio"] < r["adjusted_high"]


def test_component_keeps_one(hand):
    answer = estimate_rates(hand, component="contactor")
    assert answer.to_frame()["component"].tolist() == ["contactor"]
    assert answer.n_used == 3


def kit_log(folder, *more_visits):
    return histories_of(
        folder,
        coverage=[kept("2023-01-01", "2023-12-31")],
        equipment=[
            unit("RATED", installed_on="2015-01-01", start_uf_min=88, start_uf_max=108),
            unit("LATER", installed_on="2015-01-01"),
            unit("NEVER", installed_on="2015-01-01"),
        ],
        visits=[
            visit("V1", "LATER", "2023-07-02", finding="hard start"),
            visit("V2", "RATED", "2023-08-01", finding="hard start"),
            *more_visits,
        ],
        parts_used=[{"visit_id": "V1", "component": "hard start", "part_no": "K", "why": "upgrade"}],
    )


def test_a_kit_is_at_risk_from_the_day_it_is_known(tmp_path):
    answer = estimate_rates(kit_log(tmp_path))
    # RATED all year; LATER from 2 July: 183 days; NEVER not at all
    assert row_of(answer, "hard start")["unit_years"] * YEAR == pytest.approx(365 + 183)
    assert row_of(answer, "hard start")["failures"] == 1
    assert row_of(answer, "")["unit_years"] * YEAR == pytest.approx(3 * 365)


def test_a_kit_failure_without_a_known_kit_is_left_out_and_counted(tmp_path):
    histories = kit_log(tmp_path, visit("V3", "NEVER", "2023-06-01", finding="hard start"))
    for by in ([], ["age_band"], ["compressor_type"]):
        answer = estimate_rates(histories, by=by)
        assert answer.to_frame().query("component == 'hard start'")["failures"].sum() == 1
        assert answer.excluded["hard-start failures where no kit was known to be fitted"] == 1


def test_without_start_columns_every_unit_counts(hand):
    histories_note = [note for note in estimate_rates(hand).notes if "hard-start kit isn't recorded" in note]
    assert len(histories_note) == 1


def test_a_log_without_failures(tmp_path):
    histories = histories_of(
        tmp_path,
        coverage=[kept("2023-01-01", "2023-12-31")],
        equipment=[unit("A", installed_on="2015-01-01"), unit("B", installed_on="2015-01-01", building="2")],
        visits=[visit("V1", "A", "2023-06-01", call_type="preventive maintenance")],
    )
    answer = estimate_rates(histories, by=["building"])
    total = row_of(answer, "", building="1")
    assert (total["failures"], total["rate"], total["low"]) == (0, 0, 0)
    assert total["high"] == pytest.approx(-math.log(0.05) / (365 / YEAR))  # 3.0 / T, NIST handbook 8.4.5.1
    assert math.isnan(total["ratio"])
    assert "not enough failures to compare" in total["note"]
    assert set(answer.to_frame()["alert"]) == {"no"}


def test_blank_ratios_say_why(hand):
    frame = estimate_rates(hand, by=["model_family"]).to_frame()
    for low in ("ratio", "ratio_low", "ratio_high", "adjusted_ratio"):
        assert (frame.loc[frame[low].isna(), "note"] != "").all(), low


def test_no_failure_outside_gives_a_lower_bound_only(tmp_path):
    histories = histories_of(
        tmp_path,
        coverage=[kept("2023-01-01", "2023-12-31")],
        equipment=[unit(f"{side}{i}", installed_on="2015-01-01", building=side) for side in "12" for i in range(5)],
        visits=[visit(f"V{i}", f"1{i}", "2023-06-01", finding="wiring") for i in range(5)],
    )
    row = row_of(estimate_rates(histories, by=["building"]), "wiring", building="1")
    assert math.isnan(row["ratio"])
    assert row["ratio_low"] > 1
    assert "lower bound only" in row["note"]


def test_level_changes_the_intervals(hand):
    narrow, wide = (row_of(estimate_rates(hand, level=level), "contactor") for level in (0.5, 0.99))
    assert wide["low"] < narrow["low"] < narrow["rate"] < narrow["high"] < wide["high"]
    assert wide["shrunk_low"] < narrow["shrunk_low"] < narrow["shrunk_high"] < wide["shrunk_high"]


@pytest.mark.parametrize(
    ("asked", "error", "said"),
    [
        ({"by": ["colour"]}, SchemaError, "colour"),
        ({"component": "flux"}, AnalysisError, "'flux' is not a component; choose from run capacitor"),
        ({"by": ["model_family"], "against": "Z"}, AnalysisError, "'Z' is no value of model_family; it has P, Q"),
        ({"against": "P"}, AnalysisError, "needs exactly one grouping column; there are 0"),
        ({"level": 1.0}, AnalysisError, "level = 1.0 must lie between 0 and 1"),
    ],
)
def test_errors_say_what_is_wrong(hand, asked, error, said):
    with pytest.raises(error, match=said):
        estimate_rates(hand, **asked)


def planted_fleet(folder, rng, *, families, old_share=None, units=60, base=0.25, old_factor=3.0):
    """Simulate contactors: three years, rate = base x family factor x (old_factor beyond ten years of age)."""
    equipment, visits = [], []
    for family, factor in families.items():
        for i in range(units):
            old = rng.random() < (old_share or {}).get(family, 0.5)
            tag = f"{family}{i:03d}"
            equipment.append(
                unit(
                    tag,
                    model_family=family,
                    building=str(1 + i % 4),
                    installed_on="2008-01-01" if old else "2018-01-01",
                )
            )
            rate = base * factor * (old_factor if old else 1.0)
            for day in np.sort(rng.choice(1095 // 40, rng.poisson(rate * 3), replace=True) * 40):
                reported = dt.date(2020, 1, 1) + dt.timedelta(days=int(day))
                visits.append(visit(f"V{len(visits)}", tag, reported.isoformat(), finding="contactor"))
    return histories_of(folder, coverage=[kept("2020-01-01", "2022-12-31")], equipment=equipment, visits=visits)


def test_adjusting_undoes_a_planted_confounding(tmp_path):
    """Family P is no worse (its true ratio is 1), but it is mostly old, and old units fail three times as often."""
    histories = planted_fleet(
        tmp_path, np.random.default_rng(11), families={"P": 1.0, "Q": 1.0}, old_share={"P": 0.85, "Q": 0.15}, units=120
    )
    row = row_of(estimate_rates(histories, by=["model_family"]), "contactor", model_family="P")
    assert row["ratio_low"] > 1.3  # the crude ratio blames the family
    assert row["alert"] == "yes"
    assert row["adjusted_low"] < 1 < row["adjusted_high"]
    assert row["adjusted_ratio"] == pytest.approx(1, abs=0.3)  # sampling error of about 15 %


def test_the_alert_finds_a_truly_worse_family(tmp_path):
    histories = planted_fleet(tmp_path, np.random.default_rng(5), families={"P": 1.0, "Q": 1.0, "R": 3.0})
    frame = estimate_rates(histories, by=["model_family"], component="contactor").to_frame().set_index("model_family")
    assert frame["alert"].to_dict() == {"P": "no", "Q": "no", "R": "yes"}
    assert frame.loc["R", "adjusted_low"] < 3.0 < frame.loc["R", "adjusted_high"]


def test_adjusted_intervals_cover_the_truth(tmp_path):
    """Smoke test of coverage: five fleets, nominal 90 %; three or fewer would come by chance once in twelve."""
    covered = 0
    for seed in range(5):
        histories = planted_fleet(
            tmp_path / str(seed), np.random.default_rng(seed), families={"P": 1.8, "Q": 1.0},
            old_share={"P": 0.7, "Q": 0.3}, units=40,
        )  # fmt: skip
        row = row_of(
            estimate_rates(histories, by=["model_family"], component="contactor"), "contactor", model_family="P"
        )
        covered += row["adjusted_low"] <= 1.8 <= row["adjusted_high"]
        histories.close()
    assert 4 <= covered <= 5


def test_two_properties_with_a_building_of_the_same_name_stay_apart(tmp_path):
    equipment = [
        unit(f"{place[0]}{i:02d}", property=place, installed_on="2015-01-01", model_family="PQ"[i % 2])
        for place in ("Oak Row", "Elm Row") for i in range(20)
    ]  # fmt: skip
    visits = [visit(f"V{i}", f"O{i:02d}", "2023-06-01", finding="wiring") for i in range(16)]
    histories = histories_of(
        tmp_path,
        coverage=[kept("2023-01-01", "2023-12-31"), kept("2023-01-01", "2023-12-31", "Elm Row")],
        equipment=equipment,
        visits=visits,
    )
    frame = estimate_rates(histories, by=["property"], component="wiring").to_frame().set_index("property")
    assert frame.loc["Oak Row", ["failures", "alert"]].tolist() == [16, "yes"]
    assert frame.loc["Oak Row", "adjusted_low"] > 1
    assert "property" in frame.index.names


def test_mid_p_is_shorter_and_named(tmp_path):
    tags = [f"U{i}" for i in range(6)]
    histories = histories_of(
        tmp_path,
        coverage=[kept("2023-01-01", "2023-12-31")],
        equipment=[unit(tag, installed_on="2015-01-01", building=str(i % 2)) for i, tag in enumerate(tags)],
        visits=[visit(f"V{tag}", tag, "2023-07-01", finding="fan motor") for tag in tags],
    )
    exact, midp = (estimate_rates(histories, interval=kind) for kind in ("exact", "mid-p"))
    row = row_of(midp, "fan motor")
    shorter = midp_interval(6, 6 * 365 / YEAR)
    assert (row["low"], row["high"]) == (pytest.approx(shorter.low), pytest.approx(shorter.high))
    assert row_of(exact, "fan motor")["low"] < row["low"] < row["high"] < row_of(exact, "fan motor")["high"]
    assert "mid-P" in midp.method
    assert "mid-P" not in exact.method
    assert (exact.settings["interval"], midp.settings["interval"]) == ("exact", "mid-p")
    # units that are exactly alike: no spread between them, so the ratio's interval is chance alone
    ratios = [
        row_of(estimate_rates(histories, by=["building"], interval=kind), "fan motor", building="1")
        for kind in ("exact", "mid-p")
    ]
    assert ratios[0]["ratio_high"] > ratios[1]["ratio_high"]
    with pytest.raises(AnalysisError, match="interval = 'wald' is not known"):
        estimate_rates(histories, interval="wald")


def test_every_ratio_has_the_smallest_one_the_data_could_show(tmp_path):
    histories = planted_fleet(tmp_path, np.random.default_rng(7), families={"P": 1.0, "Q": 1.0, "R": 3.0}, units=30)
    frame = estimate_rates(histories, by=["model_family"], component="contactor", adjust=False).to_frame()
    seen = frame.set_index("model_family")["smallest_ratio_seen"]
    assert ((seen > 1) & (seen < 3)).all()
    # a worse group is told from the rest exactly when its lower bound is over 1, never by the smallest ratio itself
    assert frame.set_index("model_family").loc["R", "ratio_low"] > 1
    alone = estimate_rates(histories, component="contactor").to_frame()
    assert alone["smallest_ratio_seen"].isna().all()


def test_chance_of_a_high_rate_names_the_planted_family(tmp_path):
    histories = planted_fleet(tmp_path, np.random.default_rng(8), families={"P": 0.7, "Q": 0.7, "S": 0.7, "R": 4.5})
    frame = estimate_rates(histories, by=["model_family"], component="contactor", adjust=False).to_frame()
    chance = frame.set_index("model_family")["p_high"]
    assert chance["R"] > 0.6  # R itself raises the mean it is held against
    assert (chance.drop("R") < 0.05).all()
    two = estimate_rates(histories, by=["building"], against="1", component="contactor", adjust=False)
    assert two.to_frame()["p_high"].between(0, 1).all()

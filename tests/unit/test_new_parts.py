"""New parts: verdicts by the part's own rating, meters that condemn good ones, how many to test."""

import numpy as np
import pytest
from scipy import stats
from small_logs import histories_of, kept, one_visit, unit, visit

from fleet.analysis.new_part_verdicts import judge_new_readings, parts_tested
from fleet.analysis.new_parts import COLUMNS, count_bad_new_parts, more_bad_midp
from fleet.analysis.poisson import clopper_pearson
from fleet.analysis.sampling_plans import sample_needed
from fleet.errors import AnalysisError

WINDOW = [kept("2024-01-01", "2024-12-31")]
CATALOGUE = [
    {"part_no": "RC-40", "component": "run capacitor", "herm_uf": 40, "fan_uf": 5},
    {"part_no": "RC-45", "component": "run capacitor", "herm_uf": 45, "fan_uf": 5},
    {"part_no": "RC-S", "component": "run capacitor", "herm_uf": 40},
    {"part_no": "RC-F", "component": "run capacitor", "fan_uf": 5},
    {"part_no": "HS-1", "component": "hard start", "start_uf_min": 88, "start_uf_max": 108},
]


def new_part(key, day, readings, part_no="RC-40", lot="L1", component="run capacitor", tag="U1"):
    """Return a visit on which a part was tested new and fitted: section -> microfarads (or a list of them)."""
    rows = [
        {"visit_id": key, "component": section, "stage": "new", "value": value, "unit": "uF", "method": "bench"}
        for section, values in readings.items()
        for value in (values if isinstance(values, list) else [values])
    ]
    part = {"visit_id": key, "part_no": part_no, "component": component, "quantity": 1, "why": "failed", "lot": lot}
    return visit(key, tag, day, finding=component), rows, [part]


def log_of(*tests, **tables):
    return {
        "visits": [test[0] for test in tests],
        "readings": [row for test in tests for row in test[1]],
        "parts_used": [row for test in tests for row in test[2]],
        "equipment": [unit("U1")],
        "catalogue": CATALOGUE,
        "coverage": WINDOW,
    } | tables


def verdicts(folder, *tests, **tables):
    return judge_new_readings(histories_of(folder, **log_of(*tests, **tables)), level=0.9)


def test_verdicts_by_hand(tmp_path):
    found = verdicts(
        tmp_path,
        new_part("V1", "2024-05-01", {"herm": 37.6, "fan": 5.3}),  # both exactly on a 6 % limit: inside
        new_part("V2", "2024-05-02", {"herm": 37.5, "fan": 5.0}),
        new_part("V3", "2024-05-03", {"herm": 40.0, "fan": 5.4}),
        new_part("V4", "2024-05-04", {"herm": 0.0, "fan": 5.0}),
        new_part("V5", "2024-05-05", {"start": 108.0}, part_no="HS-1", component="hard start"),
        new_part("V6", "2024-05-06", {"start": 87.9}, part_no="HS-1", component="hard start"),
    )
    said = found.set_index(["visit_id", "section"])["verdict"].to_dict()
    assert said == {
        ("V1", "herm"): "good", ("V1", "fan"): "good", ("V2", "herm"): "below", ("V2", "fan"): "good",
        ("V3", "herm"): "good", ("V3", "fan"): "above", ("V4", "herm"): "open", ("V4", "fan"): "good",
        ("V5", "start"): "good", ("V6", "start"): "below",
    }  # fmt: skip
    parts = parts_tested(found).set_index("visit_id")
    assert parts["bad"].to_dict() == {"V1": False, "V2": True, "V3": True, "V4": True, "V5": False, "V6": True}


def test_the_parts_own_rating_counts_not_the_plates(tmp_path):
    # the plate says 40 uF; a 45 was fitted, and reads as a 45 should
    found = verdicts(tmp_path, new_part("V1", "2024-05-01", {"herm": 44.0, "fan": 5.0}, part_no="RC-45"))
    assert found["verdict"].tolist() == ["good", "good"]
    assert found["own_uf"].tolist() == [45.0, 5.0]


def test_a_part_the_catalogue_doesnt_know_is_judged_by_the_plate_and_said_so(tmp_path):
    answer = count_bad_new_parts(
        histories_of(tmp_path, **log_of(new_part("V1", "2024-05-01", {"herm": 44.0}, part_no="X")))
    )
    assert answer.table.set_index("by").loc["part_no", "bad"] == 1
    assert any("by the rating on the unit's plate" in note for note in answer.notes)


def test_two_singles_are_two_parts(tmp_path):
    both = new_part("V1", "2024-05-01", {"herm": 30.0, "fan": 5.0}, part_no="RC-S")
    both[2].append({**both[2][0], "part_no": "RC-F", "lot": "L9"})
    parts = parts_tested(verdicts(tmp_path, both)).set_index("part_no")
    assert parts["bad"].to_dict() == {"RC-S": True, "RC-F": False}
    assert parts["lot"].to_dict() == {"RC-S": "L1", "RC-F": "L9"}


def test_a_second_reading_of_a_section_is_a_second_part(tmp_path):
    answer = count_bad_new_parts(
        histories_of(tmp_path, **log_of(new_part("V1", "2024-05-01", {"herm": [30.0, 40.0], "fan": [5.0, 5.0]})))
    )
    row = answer.table.iloc[0]
    assert (row["tested"], row["bad"], row["below"]) == (2, 1, 1)


def test_one_of_two_lots_on_a_visit_is_nobodys(tmp_path):
    two = new_part("V1", "2024-05-01", {"herm": 40.0})
    two[2].append({**two[2][0], "lot": "L2"})
    answer = count_bad_new_parts(histories_of(tmp_path, **log_of(two)))
    assert set(answer.table["by"]) == {"all", "component", "part_no"}
    assert any("either of two lots" in note for note in answer.notes)


def test_what_is_left_out_is_counted(tmp_path):
    answer = count_bad_new_parts(
        histories_of(
            tmp_path,
            **log_of(
                new_part("V1", "2024-05-01", {"herm": 40.0}),
                new_part("V2", "2024-05-02", {"herm": 75.0}),
                new_part("V3", "2024-05-03", {"start": 95.0}, part_no="RC-40"),
            ),
        )
    )
    assert answer.n_used == 1
    assert dict(answer.excluded) == {"absurd readings": 1, "readings of sections without a rating": 1}


def test_marked_tolerance_and_an_asked_one(tmp_path):
    log = log_of(new_part("V1", "2024-05-01", {"herm": 37.0}), equipment=[unit("U1", tolerance_pct=10)])
    built = histories_of(tmp_path, **log)
    assert count_bad_new_parts(built).table.iloc[0]["bad"] == 0
    asked = count_bad_new_parts(built, tolerance_pct=6.0)
    assert asked.table.iloc[0]["bad"] == 1
    assert asked.settings["tolerance_pct"] == 6.0
    assert not any("none is marked" in note for note in asked.notes)


def test_an_unmarked_tolerance_is_said_aloud(tmp_path):
    notes = count_bad_new_parts(histories_of(tmp_path, **log_of(new_part("V1", "2024-05-01", {"herm": 40.0})))).notes
    assert any("tolerance of 6 %, as none is marked" in note for note in notes)


def metered_log(rng, bias_pct=-6.0):
    """Return 12 units read found by a true and a low meter, and new parts, all good, tested half and half."""
    tests, rows, visits, units = [], [], [], []
    reads = {"T": 1.0, "LOW": 1 + bias_pct / 100}
    for k in range(12):
        tag = f"M{k}"
        units.append(unit(tag))
        for day, meter in (("2024-03-01", "T"), ("2024-03-08", "LOW")):
            key = f"{tag}-{meter}"
            visits.append(visit(key, tag, day, call_type="preventive maintenance"))
            value = round(40 * (1 + 0.002 * rng.standard_normal()) * reads[meter], 3)
            rows.append({"visit_id": key, "component": "herm", "stage": "found", "value": value, "meter": meter})
        meter = "T" if k % 2 else "LOW"
        test = new_part(f"{tag}-N", "2024-06-01", {"herm": 39.0 * reads[meter]}, tag=tag)
        for row in test[1]:
            row["meter"] = meter
        tests.append(test)
    log = log_of(*tests, equipment=units)
    log["visits"] += visits
    log["readings"] += rows
    return log


def test_a_low_meter_condemns_good_parts(tmp_path):
    answer = count_bad_new_parts(histories_of(tmp_path, **metered_log(np.random.default_rng(5))))
    row = answer.table.iloc[0]
    assert (row["tested"], row["bad"], row["bad_true_meter"]) == (12, 6, 0)
    assert "6 of 6 bad verdicts would turn good and 0 good ones bad; meters concerned: LOW" in answer.notes[0]
    assert (answer.table["alert"] == "no").all()


def test_without_meters_it_is_said_that_bias_is_unknown(tmp_path):
    notes = count_bad_new_parts(histories_of(tmp_path, **log_of(new_part("V1", "2024-05-01", {"herm": 30.0})))).notes
    assert notes[0].startswith("No meter's bias is known")


def test_a_bad_lot_is_named_and_a_good_one_is_not(tmp_path):
    tests = [
        new_part(f"{lot}{k}", f"2024-05-{k + 1:02}", {"herm": 30.0 if k < bad else 40.0}, lot=lot, part_no=part)
        for lot, part, bad in (("A", "RC-40", 6), ("B", "RC-40", 0), ("C", "RC-S", 1))
        for k in range(15)
    ]
    answer = count_bad_new_parts(histories_of(tmp_path, **log_of(*tests)))
    table = answer.to_frame()
    assert list(table.columns) == [column.name for column in COLUMNS]
    lots = table.loc[table["by"] == "lot"].set_index("lot")
    assert lots["alert"].to_dict() == {"A": "yes", "C": "no", "B": "no"}
    exact = clopper_pearson(6, 15, 0.9)
    assert (lots.loc["A", "low"], lots.loc["A", "high"]) == (pytest.approx(exact.low), pytest.approx(exact.high))
    # 6 of 15 bad, 1 of the other 30
    tail = stats.hypergeom(45, 7, 15)
    assert lots.loc["A", "p_value"] == pytest.approx(tail.sf(6) + 0.5 * tail.pmf(6))
    assert lots.index[0] == "A"  # the least likely comes first
    assert "lot RC-40 A." in " ".join(answer.notes)
    whole = table.iloc[0]
    assert (whole["tested"], whole["bad"], whole["by"]) == (45, 7, "all")


def test_the_only_part_number_has_nothing_to_be_compared_with(tmp_path):
    answer = count_bad_new_parts(histories_of(tmp_path, **log_of(new_part("V1", "2024-05-01", {"herm": 30.0}))))
    row = answer.table.set_index("by").loc["part_no"]
    assert np.isnan(row["p_value"])
    assert row["note"] == "no other part of the component was tested"


def test_a_log_without_tests_says_what_to_do(tmp_path):
    answer = count_bad_new_parts(one_visit(tmp_path))
    assert answer.table.empty
    assert "write it down as `new`" in answer.notes[0]


def test_more_tests_are_those_still_missing(tmp_path):
    row = count_bad_new_parts(
        histories_of(tmp_path, **log_of(new_part("V1", "2024-05-01", {"herm": 40.0}))), limit_share=0.10
    ).table.iloc[0]
    assert (row["to_trust"], row["more_tests"]) == (22, 21)


@pytest.mark.parametrize("bad", [0, 1, 2, 5])
@pytest.mark.parametrize("share", [0.01, 0.05, 0.3])
@pytest.mark.parametrize("level", [0.6, 0.9, 0.99])
def test_sample_is_the_smallest_that_will_do(bad, share, level):
    n = sample_needed(share, bad=bad, level=level)
    assert stats.binom.cdf(bad, n, share) <= 1 - level + 1e-12
    assert n == 1 or stats.binom.cdf(bad, n - 1, share) > 1 - level


@pytest.mark.parametrize(("share", "bad"), [(0.0, 0), (1.0, 0), (0.05, -1)])
def test_senseless_plans_are_refused(share, bad):
    with pytest.raises(AnalysisError, match="between 0 and 1"):
        sample_needed(share, bad=bad)


def test_the_test_of_two_shares_holds_its_promise():
    # a mid-P value is a half on average where there is no difference, and falls as more are bad
    law = stats.hypergeom(60, 9, 20)
    p_values = [more_bad_midp(k, 20, 9 - k, 40)[0] for k in range(10)]
    assert sum(law.pmf(k) * p for k, p in enumerate(p_values)) == pytest.approx(0.5)
    assert p_values == sorted(p_values, reverse=True)
    assert more_bad_midp(9, 20, 0, 40)[0] == more_bad_midp(3, 20, 6, 40)[1]


@pytest.mark.parametrize(
    "asked", [{"tolerance_pct": 0.0}, {"tolerance_pct": -6.0}, {"limit_share": 1.5}, {"level": 0.0}]
)
def test_senseless_questions_are_refused(tmp_path, asked):
    with pytest.raises(AnalysisError):
        count_bad_new_parts(one_visit(tmp_path), **asked)

"""How long parts last, in words: the sentences carry the answers' own numbers and say when there is no answer."""

import dataclasses
import datetime as dt
import math

import numpy as np
import pandas as pd
import pytest
from small_logs import histories_of, kept, one_visit, unit, visit

from fleet.analysis.life import estimate_life
from fleet.analysis.life_columns import COLUMNS, columns_for
from fleet.analysis.life_curve import CAUSES, split_life_ends, trace_life_curve
from fleet.analysis.life_data import ENDINGS
from fleet.analysis.life_data import GROUPINGS as EVERY_GROUPING
from fleet.answer import Answer
from fleet.cli import dogdays
from fleet.present.layouts import reading_order
from fleet.present.life_groups import GROUPINGS, PARTS, group_name, grouping, kind_of, plural
from fleet.present.life_words import _CAUSES, how_sure, least_ages, remarks, weak_ways
from fleet.present.sentences import opening
from fleet.present.tables import as_text

CAP = "run capacitor"
AS_OF = dt.date(2026, 3, 1)


def row(**cells):
    """Return one row of the answer life: a fitted average unless told otherwise."""
    usual = {column.name: np.nan if column.kind in ("number", "count") else "" for column in COLUMNS}
    given = {
        "component": CAP, "ending": "failed", "model": "average", "spells": 400, "failures": 90, "weak": 0,
        "part_years": 1800.4, "shape": 1.7, "shape_low": 1.5, "shape_high": 1.9, "median": 5.72, "median_low": 5.4,
        "median_high": 6.06, "b10": 1.86, "b10_low": 1.64, "b10_high": 2.09, "weight": 1.0, "births": "any",
    }  # fmt: skip
    return usual | given | cells


def unfitted(**cells):
    blank = dict.fromkeys(("weight", "b10", "b10_high", "median", "median_high", "shape", "shape_low", "shape_high"))
    return row(**{"failures": 0, **dict.fromkeys(blank, np.nan), "b10_low": 1.29, "median_low": 6.91, **cells})


def life(rows, by=(), **settings):
    columns = columns_for(by)
    table = pd.DataFrame(rows)[[column.name for column in columns]]
    usual = {"by": tuple(by), "component": CAP, "level": 0.9, "ending": "failed", "look_ahead_years": 1.0}
    return Answer(
        name="life", as_of=AS_OF, method="", n_used=1, table=table, columns=tuple(columns), settings=usual | settings
    )


def fleet_log(units=60, *, years=6, fails="2018-06-01"):
    """Return a log of units installed under watch; a third lose their capacitor, later with every unit."""
    equipment, visits, parts = [], [], []
    for nth in range(units):
        tag = f"U{nth:03d}"
        equipment.append(unit(tag, installed_on="2016-01-01", model_family="A" if nth % 2 else "B"))
        if nth % 3 == 0:
            day = dt.date.fromisoformat(fails) + dt.timedelta(days=9 * nth)
            visits.append(visit(f"V{nth}", tag, day.isoformat(), finding=CAP))
            parts.append({"visit_id": f"V{nth}", "part_no": "P1", "component": CAP, "why": "failed", "lot": "L1"})
    coverage = [kept("2016-01-01", f"{2016 + years - 1}-12-31")]
    catalogue = [{"part_no": "P1", "component": CAP}, {"part_no": "C1", "component": "contactor"}]
    tables = {"equipment": equipment, "visits": visits, "parts_used": parts, "catalogue": catalogue}
    return {**tables, "coverage": coverage}


@pytest.fixture(scope="module")
def fleet(tmp_path_factory):
    histories = histories_of(tmp_path_factory.mktemp("words"), **fleet_log())
    yield histories
    histories.close()


def test_one_component_says_its_tenth_and_its_half():
    assert opening(life([row()])) == (
        "A tenth of the run capacitors fail within about 1.9 years, 1.6 to 2.1, and half within about 5.7, 5.4 to 6.1."
    )


def test_a_composite_ending_is_called_by_its_name():
    said = opening(life([row(ending="failed or weak")], ending="failed or weak"))
    assert said.startswith("A tenth of the run capacitors fail or go weak within")


def test_half_is_not_said_where_none_was_watched_so_long():
    said = opening(life([row(note="the median lies beyond the oldest part that was watched (4.0 years)")]))
    assert said.endswith("2.1; no part was watched long enough to say when half have.")
    said = opening(life([row(note="B10 lies beyond the oldest part that was watched (1.0 years)")]))
    assert said.endswith("2.1, which is longer than any was watched.")


def test_the_notes_those_rules_read_are_the_analysis_own(tmp_path):
    # the sentence keeps half to itself because of words in the note; here the analysis writes them
    histories = histories_of(tmp_path, **fleet_log(years=4))
    answer = estimate_life(histories, component=CAP)
    histories.close()
    assert answer.table["median"].iloc[0] > 4.0
    assert "no part was watched long enough to say when half have" in opening(answer)


@pytest.mark.parametrize(
    ("other", "said"),
    [
        ({"b10": 3.09, "b10_low": 2.46, "b10_high": 3.73}, "contactors last longer: about 3.1, 2.5 to 3.7."),
        ({"b10": 1.0, "b10_low": 0.8, "b10_high": 1.2}, "contactors go sooner: about 1.0, 0.8 to 1.2."),
        ({"b10": 1.9, "b10_low": 1.2, "b10_high": 2.6}, "can't be told apart from them: about 1.9, 1.2 to 2.6."),
    ],
)  # fmt: skip
def test_several_components_name_the_most_frequent_and_compare_the_next(other, said):
    rows = [row(failures=10, component="fan motor"), row(), row(component="contactor", failures=50, **other)]
    whole = opening(life(rows, component=None))
    assert whole.startswith("A tenth of the run capacitors fail within about 1.9 years, 1.6 to 2.1; ")
    assert whole.endswith(said)


def test_groups_name_the_first_and_the_last_and_say_when_chance_will_do():
    by = ("model_family",)
    rows = [
        row(model_family="K4", b10=1.9, b10_low=1.4, b10_high=2.4),
        row(model_family="M3", b10=1.33, b10_low=0.97, b10_high=1.73),
        row(model_family="unknown", b10=0.5, b10_low=0.1, b10_high=0.9),
    ]
    assert opening(life(rows, by)) == (
        "Run capacitors by model family: M3 first, where a tenth fail within about 1.3 years, 1.0 to 1.7; K4 last, "
        "about 1.9, 1.4 to 2.4; chance could explain that."
    )
    rows[0] |= {"b10_low": 1.8}
    assert "chance" not in opening(life(rows, by))


def test_a_group_that_stands_alone_is_said_to():
    rows = [row(model_family="K4"), unfitted(model_family="M3")]
    said = opening(life(rows, ("model_family",)))
    assert said.startswith("A tenth of the run capacitors of K4 fail within about 1.9 years")
    assert said.endswith("Of 2 groups by model family it alone has failures enough for a law.")
    said = opening(life([unfitted(model_family="K4"), unfitted(model_family="M3")], ("model_family",)))
    assert said.endswith("Of 2 groups by model family no group by that has failures enough for a law.")


def test_no_failure_is_an_answer_with_its_bounds():
    note = "no failure in 2720 part-years: too few; at most 0.0011 failures per part-year were the rate steady"
    said = opening(life([unfitted(component="wiring", note=note)]))
    assert said == (
        "None of the wiring parts was changed for a failure in 1,800 years of parts watched: too few to say how long "
        "they last. At most 0.0011 failures per part-year were the rate steady and a tenth fail no sooner than 1.3 "
        "years, half no sooner than 6.9 years."
    )
    assert how_sure(life([unfitted()])) == ""


def test_the_bound_is_the_analysis_own_exact_one(tmp_path):
    log = fleet_log(20)
    del log["parts_used"]
    log["visits"] = [visit("V1", "U000", "2018-06-01", finding="dirty coil")]
    log["catalogue"] = [{"part_no": "P1", "component": CAP}]
    histories = histories_of(tmp_path, **log)
    answer = estimate_life(histories, component=CAP)
    histories.close()
    # no failure in T years: at most -ln(0.05)/T a year at 95 % (the exact Poisson bound)
    bound = -math.log(0.05) / answer.table["part_years"].iloc[0]
    assert f"At most {bound:.2g} failures per part-year were the rate steady" in opening(answer)
    assert "no sooner than" in opening(answer)


def test_a_few_failures_say_what_is_assumed():
    few = row(failures=3, weight=np.nan, b10=2.4, b10_low=1.1, b10_high=6.2)
    assert opening(life([few])) == (
        "Only 3 of the run capacitors were changed for a failure in 1,800 years of parts watched: too few to say how "
        "they wear; wear as usual assumed, a tenth fail within about 2 years, 1 to 6."
    )


def test_a_log_without_the_part_says_so(tmp_path):
    histories = one_visit(tmp_path)
    answer = estimate_life(histories, component="hard start")
    histories.close()
    assert answer.table.empty
    assert opening(answer) == "The log knows of no hard starts, so nothing can be said about how long they last."
    assert how_sure(answer) == ""
    assert weak_ways(answer) == ""
    assert remarks(answer) == []
    assert as_text(answer)


def test_how_sure_carries_counts_wear_prior_and_the_narrower_answer():
    sure = how_sure(life([row(prior="Weibull shape about 2", b10_born_in_log=1.53)]))
    assert sure.startswith("It rests on 90 failures in 1,800 years of parts watched.")
    assert "They wear out: the older the part, the likelier it fails (shape about 1.7, 1.5 to 1.9)." in sure
    assert "leans on what is taken for granted beforehand: Weibull shape about 2." in sure
    assert "Parts fitted while the log was kept would alone give about 1.5 years for the first tenth." in sure
    leaning = how_sure(life([row(prior="from the component's other groups: Weibull shape about 2")]))
    assert "The answer leans on what the component's other groups tell: Weibull shape about 2." in leaning
    assert "wear out" not in how_sure(life([row(shape_low=0.9)]))


def test_how_sure_of_groups_warns_of_the_ends_of_a_ranking():
    rows = [row(model_family="K4"), unfitted(model_family="M3")]
    sure = how_sure(life(rows, ("model_family",)))
    assert "1 group of 2 has failures enough for a law." in sure
    assert "lie apart by luck alone too" in sure


def test_weak_parts_are_counted_three_ways_in_words():
    weak = {"weak": 185, "b10_weak_failed": 1.67, "b10_weak_ignored": 2.09}
    assert weak_ways(life([row(**weak)])) == (
        "185 parts were changed while weak, before failing. Taken to fail within a year of that day, as above, a tenth "
        "fail within about 1.9 years; taken as failed that day, about 1.7 years; taken as sound, about 2.1 years, "
        "which reads too long."
    )
    assert "within 0.5 years of that day" in weak_ways(life([row(**weak)], look_ahead_years=0.5))
    assert weak_ways(life([row()])) == ""
    assert weak_ways(life([row(**weak, ending="failed or weak")])) == ""
    # of several groups no one's numbers stand for all
    grouped = [row(model_family="K4", **weak), row(model_family="M3")]
    assert weak_ways(life(grouped, ("model_family",))) == ""


def test_remarks_are_whole_sentences():
    note = "13 failures mended without a part; by law B10 is 10.7 to 10.8 years (most weight: lognormal, 50%)"
    assert remarks(life([row(note=note)])) == [
        "13 failures mended without a part.",
        "Depending on the law fitted, a tenth fail within 10.7 to 10.8 years (most weight: lognormal, 50%).",
    ]


def test_bounds_without_an_estimate_stand_in_the_note_of_the_table():
    answer = life([row(), unfitted(component="wiring", note="no failure")], component=None)
    notes = reading_order(answer).table["note"].tolist()
    assert notes == ["", "a tenth fail no sooner than 1.3 years, half no sooner than 6.9 years; no failure"]
    assert answer.table["note"].tolist() == ["", "no failure"]
    assert "a tenth fail no sooner than 1.3 years" in " ".join(as_text(answer).split())


def test_laws_one_by_one_are_shown_for_one_group_only():
    laws = [row(), row(model="Weibull", weight=0.6), row(model="lognormal", weight=0.4)]
    assert reading_order(life(laws)).table["model"].tolist() == ["average", "Weibull", "lognormal"]
    two = [{**one, "component": name} for name in (CAP, "contactor") for one in laws]
    order = reading_order(life(two, component=None))
    assert order.table["model"].tolist() == ["average", "average"]
    assert order.remark.startswith("4 rows of single laws aren't shown")


def test_of_several_endings_the_first_is_said():
    rows = [row(), row(ending="failed or weak", b10=1.5, b10_low=1.3, b10_high=1.7)]
    assert "within about 1.9 years" in opening(life(rows, ending="all"))


@pytest.mark.parametrize(
    ("by", "cells", "name"),
    [
        (("model_family",), {"model_family": "K4"}, "K4"),
        (("model_family",), {"model_family": "unknown"}, "unknown model family"),
        (("property", "building"), {"property": "Juniper", "building": "3"}, "Juniper 3"),
        (("part_no", "lot"), {"part_no": "P1", "lot": "22W08"}, "lot 22W08 of P1"),
        (("part_no", "lot"), {"part_no": "P1", "lot": "unknown"}, "P1, lot unknown"),
        (("part_no", "lot"), {"part_no": "unknown", "lot": "unknown"}, "unknown lot"),
        (("tons",), {"tons": "2.5"}, "2.5 tons"),
        (("priority_home",), {"priority_home": "true"}, "priority homes"),
        (("property", "compressor_type"), {"property": "Oak", "compressor_type": "scroll"}, "Oak, scroll"),
        ((), {}, ""),
    ],
)
def test_groups_are_called_as_a_person_would(by, cells, name):
    assert group_name(pd.Series(cells, dtype=object), by) == name


def test_a_property_all_rows_share_is_not_said_again():
    rows = [row(property="Oak", model_family=name) for name in ("K4", "M3")]
    assert grouping(life(rows, ("property", "model_family"))) == ("model_family",)
    rows[1] |= {"property": "Elm"}
    assert grouping(life(rows, ("property", "model_family"))) == ("property", "model_family")
    assert kind_of(("property", "model_family")) == "property and model family"


def test_what_a_page_offers_can_be_asked_for():
    assert {name for columns in GROUPINGS.values() for name in columns} <= set(EVERY_GROUPING)
    assert CAP in PARTS
    assert plural("breaker or disconnect") == "breakers and disconnects"
    assert plural("fan motor") == "fan motors"
    assert set(_CAUSES) == set(CAUSES)


def test_the_command_s_endings_are_the_analysis_own():
    ending = next(option for option in dogdays.commands["life"].params if option.name == "ending")
    assert tuple(ending.type.choices) == (*ENDINGS, "all")


def test_a_curve_says_what_still_works_and_what_the_law_says(fleet):
    answer = trace_life_curve(fleet, CAP)
    said = opening(answer)
    last = answer.table[answer.table["at_risk"] >= 10].iloc[-1]
    assert f"about {100 * last['survival']:.0f} % (" in said
    assert f"where the fitted laws say {100 * last['average']:.0f} %." in said
    grouped = opening(trace_life_curve(fleet, CAP, by=["model_family"]))
    assert grouped.endswith("Curves of 1 more group by model family follow.")


def test_a_curve_of_no_failure_says_so(fleet):
    said = opening(trace_life_curve(fleet, "contactor"))
    assert said == "None of the 60 parts of known age failed for as long as enough contactors were watched."


def test_a_curve_is_shown_at_its_half_years_and_where_it_can_be_read(fleet):
    answer = trace_life_curve(fleet, CAP)
    order = reading_order(answer)
    assert len(order.table) < len(answer.table)
    assert order.table["age"].iloc[0] == 0.0
    assert order.table["at_risk"].min() >= 10
    assert np.ceil(2 * order.table["age"]).is_unique
    assert order.remark.startswith(f"{len(answer.table) - len(order.table)} ages of failure")


def test_what_becomes_of_a_hundred_parts(fleet):
    answer = split_life_ends(fleet, CAP)
    failed = answer.table.set_index(["age", "cause"])["share"][5.0, "failed"]
    assert opening(answer) == (
        f"Of a hundred run capacitors about {100 * failed:.0f} fail within 5 years; the others serve on."
    )
    said = opening(split_life_ends(fleet, "contactor"))
    assert said == "Of a hundred contactors hardly one comes to its end within 5 years."


def test_too_few_parts_to_say_what_ends_them(tmp_path):
    histories = histories_of(tmp_path, **fleet_log(3))
    ends, curve = split_life_ends(histories, CAP), trace_life_curve(histories, CAP)
    histories.close()
    assert opening(ends) == "Too few run capacitors were watched from their first day to say what ends their lives."
    assert opening(curve) == "Too few run capacitors of known age were watched for a curve."
    assert as_text(ends)
    assert as_text(curve)


def test_least_ages_are_said_only_without_an_estimate():
    assert least_ages(pd.Series(row())) == ""
    assert least_ages(pd.Series(unfitted())) == "a tenth fail no sooner than 1.3 years, half no sooner than 6.9 years"
    assert least_ages(pd.Series(unfitted(b10_low=np.nan))) == ""


def test_every_result_says_what_it_left_out(fleet):
    answer = dataclasses.replace(
        estimate_life(fleet, component=CAP), excluded={"lives not seen from their birth on": 7}
    )
    assert "Left out: 7 lives not seen from their birth on." in " ".join(as_text(answer).split())

"""What comes back and what fails together, said in one sentence with its numbers, or with why it can't be said."""

import datetime as dt

import numpy as np
import pandas as pd
import pytest

from fleet.answer import Answer, AnswerColumn
from fleet.present.coming_back_words import standing_out, suspect_cautions
from fleet.present.sentences import opening
from fleet.present.tables import as_text

AS_OF = dt.date(2025, 12, 31)


def answer(name, rows, **more):
    table = pd.DataFrame(rows)
    columns = tuple(AnswerColumn(name=str(column), kind="text", meaning="") for column in table.columns)
    return Answer(name=name, as_of=AS_OF, method="", n_used=1, table=table, columns=columns, **more)


def empty(name, *notes, **settings):
    column = AnswerColumn(name="alert", kind="text", meaning="")
    return Answer(
        name=name, as_of=AS_OF, method="", n_used=0, table=pd.DataFrame({"alert": []}), columns=(column,), notes=notes,
        settings=settings,
    )  # fmt: skip


def calls(by, value, alert="no", **more):
    return {
        "by": by, "value": value, "calls": 230, "returned": 58, "expected": 13.1, "share": 0.195, "low": 0.145,
        "high": 0.25, "usual_share": 0.085, "usual_low": 0.045, "usual_high": 0.125, "p_value": 0.001, "alert": alert,
        "property": "", "note": "", **more,
    }  # fmt: skip


def test_the_headline_names_findings_but_counts_people():
    rows = [calls("all", ""), calls("finding", "no fault found", "yes"), calls("technician", "K.B.", "yes")]
    assert opening(answer("callbacks", rows)) == (
        "Of 230 calls, 58 came back, where about 13 would by chance; the share beyond chance is about 20 %, 14 to 25; "
        "more than like work brings after no fault found and for 1 technician."
    )
    assert opening(answer("callbacks", rows[:1])).endswith("is about 20 %, 14 to 25.")
    rows = [calls("all", ""), calls("vendor", "Cold Firm", "yes"), calls("vendor", "Warm Firm", "yes")]
    assert opening(answer("callbacks", rows)).endswith("more than like work brings for 2 outside firms.")


def test_beside_its_funnel_someone_is_named_with_what_is_usual():
    found = answer("callbacks", [calls("technician", "K.B.", "yes"), calls("technician", "Wren")])
    assert standing_out(found, "technician") == (
        "More call-backs than like work brings: K.B. (about 20 %, 14 to 25, where 4 % to 12 % is usual in so many "
        "calls)."
    )
    quiet = answer("callbacks", [calls("technician", "K.B."), calls("technician", "Wren")])
    assert standing_out(quiet, "technician") == (
        "No technician has more call-backs than work on the same findings brings to the others."
    )
    alone = answer("callbacks", [calls("vendor", "Cold Firm", usual_share=np.nan)])
    assert standing_out(alone, "vendor") == (
        "There is nothing to compare by outside firm: the log names 1 outside firm."
    )
    assert standing_out(alone, "technician").endswith("the log names no technicians.")


def test_the_table_shows_a_share_beside_what_like_work_shows():
    text = as_text(answer("callbacks", [calls("all", ""), calls("technician", "K.B.", "yes")]))
    assert "20 (14 to 25) %" in text
    assert "8 (4 to 12) %" in text
    assert "like work" in text


def test_runs_say_how_many_calls_were_call_backs_and_which_was_longest():
    rows = [
        {"run": 1, "equipment_id": "A", "first_on": dt.date(2021, 5, 24), "days": 0, "calls": 3, "run_cost": 386.2},
        {"run": 1, "equipment_id": "A", "first_on": dt.date(2021, 6, 4), "days": 11, "calls": 3, "run_cost": 386.2},
        {"run": 1, "equipment_id": "A", "first_on": dt.date(2021, 7, 1), "days": 38, "calls": 3, "run_cost": 386.2},
        {"run": 2, "equipment_id": "B", "first_on": dt.date(2022, 7, 1), "days": 0, "calls": 2, "run_cost": np.nan},
        {"run": 2, "equipment_id": "B", "first_on": dt.date(2022, 7, 9), "days": 8, "calls": 2, "run_cost": np.nan},
    ]
    assert opening(answer("call-back runs", rows)) == (
        "3 calls were call-backs, in 2 runs; the longest is A's: 3 calls in 38 days, for $386, from May 24, 2021."
    )
    assert opening(answer("call-back runs", rows[3:])) == (
        "1 call was a call-back, in 1 run; the longest is B's: 2 calls in 8 days, from July 1, 2022."
    )
    assert opening(empty("call-back runs")) == "No call came back soon after another in this log."


PAIR = {
    "first": "run capacitor", "times": "twice within a year", "then": "compressor", "cases": 30, "followed": 9,
    "expected": 1.2, "ratio": 7.5, "low": 4.0, "high": 13.0, "p_value": 0.0001, "alert": "yes", "chain_cost": 812.0,
    "single_cost": 92.5,
}  # fmt: skip


def test_chains_say_what_follows_what_and_what_it_costs():
    assert opening(answer("cause chains", [PAIR], settings={"window_days": 180})) == (
        "What follows what beyond chance: compressor after run capacitor (twice within a year), in 9 of 30 cases where "
        "about 1.2 would by chance; both together cost $812 on average, the first alone $92.50."
    )
    quiet = PAIR | {"alert": "no", "times": "once", "first": "wiring"}
    assert opening(answer("cause chains", [quiet], settings={"window_days": 180})) == (
        "None of 1 pair of failures follow each other within 180 days beyond chance; nearest to it, compressor after "
        "wiring, in 9 of 30 cases where about 1.2 would by chance."
    )
    unknown = answer("cause chains", [quiet | {"p_value": np.nan}], settings={"window_days": 180})
    assert opening(unknown).endswith("follow each other within 180 days beyond chance.")
    more = answer("cause chains", [PAIR, PAIR | {"chain_cost": np.nan}])
    assert opening(more).endswith("the first alone $92.50. 1 more pair named below.")


HEAP = {
    "property": "Juniper", "building": "7", "component": "contactor", "from_date": dt.date(2025, 11, 3),
    "to_date": AS_OF, "observed": 9, "expected": 0.9, "p_value": 0.0002, "years_between": 150.0, "alert": "yes",
}  # fmt: skip


def test_what_goes_on_now_is_said_with_how_often_chance_brings_it():
    assert opening(answer("watch", [HEAP])) == (
        "The contactor is failing in a heap now in Juniper 7: 9 times since November 3, 2025, where about 0.90 was to "
        "be expected; chance alone brings such a heap once in about 150 years."
    )
    assert "1 more heap named below." in opening(answer("watch", [HEAP, HEAP]))


def test_silence_now_is_no_all_clear_and_a_short_log_says_so():
    quiet = "Nothing is failing in a heap now that chance doesn't explain, in the up to 13 weeks before "
    assert opening(empty("watch", "Of the windows.", max_weeks=13)).startswith(quiet)
    assert opening(answer("watch", [HEAP | {"alert": "no"}], settings={"max_weeks": 13})).startswith(quiet)
    assert opening(empty("watch", "Not enough data: the log is short.")) == "Not enough data: the log is short."


def test_power_says_what_the_scan_could_see():
    rows = [
        {"property": "Juniper", "building": "7", "component": "contactor", "chance_found": 0.9, "smallest_ratio": 2.5},
        {"property": "Juniper", "building": "8", "component": "wiring", "chance_found": 0.1, "smallest_ratio": np.nan},
    ]
    asked = {"ratio": 3.0, "weeks": 13}
    assert opening(answer("scan power", rows, settings=asked)) == (
        "3 times the usual for 13 weeks would mostly be found in 1 of 2 pairs of building and component; a heap shows "
        "soonest for the contactor in Juniper 7, where it takes about 2.5 times the usual to be found four times in "
        "five."
    )
    said = opening(answer("scan power", rows[1:], settings=asked))
    assert "mostly be found in none of 1 pair" in said
    assert said.endswith("soonest for the wiring in Juniper 8.")


def test_months_name_the_building_month_or_the_nearest():
    row = {
        "property": "Juniper", "building": "7", "month": "2024-07", "observed": 11, "expected": 3.1, "p_value": 0.0003,
        "alert": "no",
    }  # fmt: skip
    said = "Juniper 7 in July 2024, with 11 failures where about 3.1 was to be expected"
    assert opening(answer("months", [row, row | {"p_value": 0.4, "building": "8"}])) == (
        f"None of 2 building-months had more failures than season, age and chance explain; furthest from it, {said}."
    )
    named = answer("months", [row | {"alert": "yes"}, row | {"alert": "yes", "p_value": 0.01}])
    assert opening(named) == f"More failures than season, age and chance explain: {said}. 1 more named below."
    unknown = answer("months", [row | {"p_value": np.nan}], notes=("Nothing failed.",))
    assert opening(unknown) == "There isn't enough in the log to answer this yet. Nothing failed."


PART = {
    "equipment_id": "QC02-104", "component": "run capacitor", "part_no": "RC-355-44", "lot": "22W08", "chance": 0.18,
    "usual_chance": 0.11, "priority_home": "yes", "first": "change it before the next hot spell",
}  # fmt: skip


def test_suspect_parts_say_how_many_where_first_and_what_to_do():
    rows = [PART, PART | {"equipment_id": "B", "priority_home": "no", "chance": 4.0, "usual_chance": 2.0}]
    found = answer("suspect parts", rows)
    assert opening(found) == (
        "2 parts of RC-355-44 lot 22W08 are in service, 1 of them in priority homes; about 4.2 will likely fail within "
        "a year, about 2.1 would were the lot like others. First, at QC02-104: change it before the next hot spell."
    )
    assert opening(answer("suspect parts", [PART | {"chance": np.nan}])).startswith("1 part of RC-355-44 lot 22W08 is")
    none = empty("suspect parts", "No lot is named as failing more than the others, so no part is suspect by its lot.")
    assert opening(none).startswith("No part of a suspect lot is in service. No lot is named as failing")
    assert opening(empty("suspect parts", "0 parts of 1 lot.")) == "No part of a suspect lot is in service."


def test_cautions_for_suspect_parts_come_once_their_own_first():
    found = suspect_cautions(answer("suspect parts", [PART, PART]))
    assert found[0].topic == "capacitor"
    assert "holds its charge" in found[0].text
    assert len(set(found)) == len(found)
    assert any("Open the disconnect, lock and tag it" in caution.text for caution in found)


def test_claims_say_how_many_how_much_and_the_first_day():
    row = {"in_time": "yes", "claim_by": dt.date(2026, 1, 28), "money": 32.39}
    rows = [row, row | {"claim_by": dt.date(2026, 3, 1), "money": 100.0}, row | {"in_time": "no"}]
    assert opening(answer("claims", rows)) == (
        "2 of 3 failed parts without a credit may still be claimed, $132 as recorded, the first by January 28, 2026."
    )
    unsure = answer("claims", [row | {"in_time": "no"}, row | {"in_time": "", "claim_by": None}])
    assert opening(unsure) == (
        "None of 2 failed parts without a credit can still be claimed in time; of 1 the last day isn't known."
    )
    assert opening(empty("claims", "No failed part without a credit.")) == "No failed part without a credit."


@pytest.mark.parametrize(
    ("bad", "true", "said"),
    [
        (5, 0, "5 were bad (about 1.5 %, 0.6 to 3.2); had each meter read true, none would be."),
        (1, 1, "1 was bad (about 1.5 %, 0.6 to 3.2)."),
        (0, 0, "none was bad (about 1.5 %, 0.6 to 3.2)."),
    ],
)
def test_new_parts_say_the_share_bad_and_what_the_meters_make_of_it(bad, true, said):
    row = {
        "by": "all", "tested": 323, "bad": bad, "share": 0.0148, "low": 0.0061, "high": 0.0323, "bad_true_meter": true,
        "alert": "no",
    }  # fmt: skip
    assert opening(answer("new parts", [row])) == f"Of 323 new parts tested before fitting, {said}"
    named = answer("new parts", [row, row | {"alert": "yes"}])
    assert opening(named).endswith(" 1 part number or lot named below.")

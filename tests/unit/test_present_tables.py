"""An answer as text: right at 80 columns, least needed columns dropped and named, notes below."""

import dataclasses
import datetime as dt

import numpy as np
import pandas as pd
import pytest

from fleet.answer import Answer, AnswerColumn, Provenance
from fleet.present.layouts import LAYOUTS, SECOND, headings, layouts_of, reading_order
from fleet.present.tables import as_text, behind, settings_text, table_text


def answer(name, columns, rows, **more):
    """Build an answer from (name, kind) pairs and rows."""
    documented = tuple(AnswerColumn(name=n, kind=k, meaning=n) for n, k in columns)
    table = pd.DataFrame(rows, columns=[n for n, _ in columns])
    parts = {"as_of": dt.date(2026, 3, 1), "method": "Counted by hand.", "n_used": 7, "notes": ("First.", "Second.")}
    return Answer(name=name, table=table, columns=documented, **(parts | more))


RATES = (
    ("property", "text"), ("component", "text"), ("failures", "count"), ("unit_years", "number"), ("rate", "number"),
    ("low", "number"), ("high", "number"),
    ("shrunk_rate", "number"), ("shrunk_low", "number"), ("shrunk_high", "number"),
    ("ratio", "number"), ("ratio_low", "number"), ("ratio_high", "number"), ("adjusted_ratio", "number"),
    ("adjusted_low", "number"), ("adjusted_high", "number"), ("alert", "yesno"), ("note", "text"),
)  # fmt: skip
NAN = np.nan


def rates(**more):
    rows = [
        ["", "run capacitor", 204, 2635.3, 0.0774, 0.0687, 0.0869, 0.0776, 0.0689, 0.0867, *[NAN] * 6, "no", ""],
        ["", "transformer", 0, 12.0, NAN, NAN, NAN, NAN, NAN, NAN, *[NAN] * 6, "no", "no time at risk"],
        ["", "", 1397, 2635.3, 0.53, 0.5004, 0.5616, 0.53, 0.507, 0.554, *[NAN] * 6, "no", ""],
    ]
    return answer("rates", RATES, rows, **more)


def test_a_whole_answer_reads_from_its_sentence_to_its_data():
    text = as_text(rates(excluded={"vacant": 3}, settings={"level": 0.9, "by": (), "as_of": "2026-03-01"}))
    assert text.startswith("A unit fails about 0.53 times a year, 0.50 to 0.56; most often the run\ncapacitor, 204 of")
    for said in (
        "Left out: 3 vacant.",
        "- First.",
        "Settings: level 0.9.",
        "Method: Counted by hand.",
        "As of 2026-03-01",
    ):
        assert said in text
    assert text.endswith("\n")


@pytest.mark.parametrize("width", [40, 60, 80, 132])
def test_no_line_is_wider_than_asked(width):
    assert max(map(len, as_text(rates(), width).splitlines())) <= width


def test_an_estimate_and_its_bounds_share_a_column_and_numbers_stand_on_the_right():
    lines = table_text(rates()).splitlines()
    assert lines[0].startswith("component      failures  unit-years        rate a unit-year")
    assert lines[2].startswith("all               1,397       2,635     0.53 (0.50 to 0.56)")
    assert lines[3].startswith("run capacitor       204       2,635  0.077 (0.069 to 0.087)")


def test_what_can_not_be_estimated_is_a_dash_with_its_reason_below():
    text = table_text(rates())
    assert "transformer           0          12                       –" in text
    assert "[1] no time at risk" in text


def test_dropped_columns_are_named():
    text = table_text(rates(), 70)
    assert "Not shown here for want of space: shrunk_rate, shrunk_low, shrunk_high" in text
    assert "Not shown" not in table_text(rates(), 132)


def test_columns_that_say_nothing_are_left_out_without_a_word():
    text = table_text(rates(), 160)
    assert "ratio" not in text
    assert "property" not in text.lower()


def test_rows_can_be_cut_and_the_rest_counted():
    assert "… and 2 more rows." in table_text(rates(), limit=1)
    assert "more row" not in table_text(rates(), limit=3)


def test_grouping_columns_come_first():
    columns = (*RATES[:2], ("model_family", "text"), *RATES[2:])
    row = ["", "", "M3R", 9, 10.0, 0.9, 0.5, 1.5, 0.8, 0.5, 1.4, *[NAN] * 6, "yes", ""]
    rows = [row, ["", "wiring", *row[2:]]]
    grouped = answer("rates", columns, rows, settings={"by": ("model_family",)})
    lines = table_text(grouped).splitlines()
    assert lines[1].startswith("family       component  failures")
    assert lines[3].startswith("M3R          all ")


def grouped_rates():
    columns = (*RATES[:2], ("model_family", "text"), *RATES[2:13], ("smallest_ratio_seen", "number"), *RATES[13:])
    told = "can't tell from 1; this much data would show a ratio of 2.3 four times in five"
    ends = [0.8, 0.5, 1.4]
    row = ["", "wiring", "M3R", 9, 10.0, 0.9, 0.5, 1.5, *ends, 1.9, 0.71, 5.62, 2.31, 1.4, 0.93, 2.2, "no", told]
    more = "can't tell from 1; this much data would show a ratio of 3.6 four times in five; under 10 failures in all"
    rows = [row, [*row[:2], "K2R", *row[3:14], 3.62, *[NAN] * 3, "no", more]]
    return answer("rates", columns, rows, settings={"by": ("model_family",)})


def test_grouped_rates_stand_in_one_table_and_their_ratios_with_what_they_would_show_in_a_second():
    lines = table_text(grouped_rates()).splitlines()
    assert lines[0] == "Component: wiring"
    assert lines[1].split()[:4] == ["model", "family", "failures", "unit-years"]
    second = lines.index("", 1) + 1
    assert " ".join(lines[second].split()) == "model family ratio would show from adjusted ratio alert"
    first = lines[second + 2]
    assert " ".join(first.split()) == "M3R 1.9 (0.7 to 5.6) 2.3 1.4 (0.9 to 2.2) no [1]"
    assert "Not shown" not in "\n".join(lines)


def test_what_the_data_would_show_stands_in_its_column_and_in_no_note():
    text = table_text(grouped_rates())
    assert "four times in five" not in text
    assert text.splitlines()[-2:] == ["[1] can't tell from 1", "[2] can't tell from 1; under 10 failures in all"]
    assert reading_order(grouped_rates()).table["note"].tolist()[0] == "can't tell from 1"


def test_a_rate_that_leans_on_others_is_shown_only_where_it_could_lean():
    pooled, alone = grouped_rates(), grouped_rates()
    columns = (*pooled.columns, AnswerColumn(name="p_high", kind="number", meaning=""))
    shown = [
        table_text(dataclasses.replace(one, columns=columns, table=one.table.assign(p_high=p_high)), 100)
        for one, p_high in ((pooled, 0.2), (alone, NAN))
    ]
    assert ["leaning" in text for text in shown] == [True, False]


def test_a_ratio_bounded_below_alone_says_at_least():
    grouped = grouped_rates()
    table = grouped.table.assign(ratio=NAN, ratio_high=NAN)
    assert "at least 0.71" in table_text(dataclasses.replace(grouped, table=table))


def test_a_likely_bad_unit_s_record_is_told_below_the_table():
    columns = (
        ("equipment_id", "text"), ("calls", "count"), ("p_bad", "number"), ("past_rate", "number"),
        ("expected_calls", "number"), ("low", "count"), ("high", "count"), ("evidence", "text"), ("note", "text"),
    )  # fmt: skip
    rows = [
        ["A", 12, 0.97, 2.0, 1.23, 0, 4, "12 calls in 5.9 years.", ""],
        ["B", 1, 0.04, 0.2, 0.3, 0, 1, "1 call in 5.9 years.", ""],
    ]
    lines = table_text(answer("units", columns, rows)).splitlines()
    shown = [" ".join(line.split()) for line in lines]
    assert "A 12 2 1.2 (0 to 4) 97 % [1]" in shown
    assert "B 1 0.20 0.30 (0 to 1) 4 %" in shown
    assert shown[-1] == "[1] 12 calls in 5.9 years."


def test_a_long_curve_is_shown_where_each_half_year_ends_and_loses_no_failure():
    columns = (
        ("segment", "count"), ("years", "number"), ("units", "count"), ("failures", "count"),
        ("mean_failures", "number"), ("low", "number"), ("high", "number"),
    )  # fmt: skip
    rows = [[1, (n + 1) / 24, 50, 1, n / 50, n / 60, n / 40] for n in range(36)]
    order = reading_order(answer("recurrence", columns, rows))
    assert order.table["years"].tolist() == pytest.approx([0.5, 1.0, 1.5])
    assert order.table["failures"].tolist() == [12, 12, 12]
    assert order.told == ("segment",)
    assert "33 points between aren't shown" in order.remark
    whole = reading_order(answer("recurrence", columns, [*rows[:5], [2, 0.9, 50, 1, 0.1, 0.1, 0.2]]))
    assert len(whole.table) == 6
    assert whole.told == ()


def test_all_components_together_come_first_in_the_trends():
    columns = (("component", "text"), ("failures", "count"), ("verdict", "text"))
    rows = [["wiring", 5, "can't tell"], ["", 9, "more frequent"]]
    assert table_text(answer("trends", columns, rows)).splitlines()[2].startswith("all")


def test_one_property_is_said_above_the_table_and_several_in_it():
    columns = (
        ("property", "text"),
        ("building", "text"),
        ("component", "text"),
        ("observed", "count"),
        ("alert", "yesno"),
    )
    one = answer("clusters", columns, [["Juniper", "3", "contactor", 9, "yes"], ["Juniper", "4", "wiring", 2, "no"]])
    assert table_text(one).startswith("Property: Juniper\nbldg  component")
    two = answer("clusters", columns, [["Juniper", "3", "contactor", 9, "yes"], ["Alder", "4", "wiring", 2, "no"]])
    assert table_text(two).splitlines()[0].split() == ["property", "bldg", "component", "failures", "alert"]
    assert "Property:" not in table_text(two, limit=1)


def test_long_text_wraps_in_what_is_left_and_headings_fold_first():
    columns = (("part_no", "text"), ("fitted", "count"), ("p_value", "number"), ("evidence", "text"))
    rows = [["RC-305-4", 11, 0.997, "11 fitted in six years where four are usual; drain clog twice, wiring twice"]]
    lines = table_text(answer("lots", columns, rows), 50).splitlines()
    assert [line.rstrip() for line in lines[:2]] == ["part      fitted      p  evidence", "─" * 50]
    assert lines[2].startswith("RC-305-4      11  0.997  11 fitted in six years")
    assert lines[3].startswith(" " * 25 + "where four are usual;"[:3])


def test_an_order_shows_only_the_lines_with_something_to_order():
    columns = (
        ("location", "text"),
        ("part_no", "text"),
        ("to_order", "count"),
        ("cost", "money"),
        ("order_by", "text"),
    )
    rows = [["1", "A", 2, 30.5, "2026-03-21"], ["1", "B", 0, 0.0, ""], ["2", "C", 1, NAN, "late"]]
    text = table_text(answer("stock", columns, rows))
    assert "1 line with nothing to order isn't shown" in text
    assert text.splitlines()[2:4] == ["1      A         2    30.50  2026-03-21", "2      C         1        –  late"]


def test_what_to_act_on_comes_first():
    columns = (("equipment_id", "text"), ("pct", "number"), ("advice", "text"))
    rows = [["A", -1.0, "leave"], ["B", -7.0, "measure again"], ["C", -12.0, "change"], ["D", -20.0, "change"]]
    assert list(reading_order(answer("drift", columns, rows)).table["equipment_id"]) == ["D", "C", "B", "A"]


def test_fleet_totals_of_a_demand_come_first():
    columns = (("building", "text"), ("part_no", "text"), ("mean", "number"))
    shown = reading_order(answer("demand", columns, [["3", "A", 1.0], ["", "A", 4.0]])).table
    assert list(shown["building"]) == ["", "3"]


def test_an_answer_without_a_layout_shows_its_columns_as_documented():
    text = table_text(answer("new", (("name", "text"), ("hours", "number")), [["a", 2.5], ["b", 1250.0]]))
    assert text.splitlines() == ["name  hours", "───────────", "a      2.50", "b     1,250"]


def test_a_plain_table_is_drawn_too():
    assert (
        table_text(pd.DataFrame({"source": ["visits.csv"], "records": [528]})).splitlines()[2] == "visits.csv      528"
    )


def test_an_empty_table_draws_nothing_but_the_answer_still_speaks():
    empty = answer("lots", (("lot", "text"),), [])
    assert table_text(empty) == ""
    assert as_text(empty).startswith("There isn't enough in the log to answer this yet. First.")


def test_shares_chances_and_dates_are_written_out():
    columns = (
        ("by", "text"),
        ("value", "text"),
        ("calls", "count"),
        ("share", "number"),
        ("low", "number"),
        ("high", "number"),
    )
    assert "5.7 (4.2 to 7.4) %" in table_text(answer("callbacks", columns, [["all", "", 1393, 0.0573, 0.042, 0.074]]))
    columns = (("part_no", "text"), ("lot", "text"), ("p_value", "number"), ("alert", "yesno"))
    text = table_text(answer("lots", columns, [["A", "22W08", 0.00004, "yes"], ["A", "21W01", 0.0421, "no"]]))
    assert "< 0.001  yes" in text
    assert "0.042  no" in text
    columns = (("equipment_id", "text"), ("pct", "number"), ("leaves_tolerance", "text"), ("advice", "text"))
    rows = [["A", -1.0, dt.date(2027, 5, 1), "leave"], ["B", 1.0, "more than 15 years", "leave"]]
    text = table_text(answer("drift", columns, rows))
    assert "2027-05-01" in text
    assert "more than 15 years" in text


def test_settings_leave_out_what_is_not_set():
    given = {
        "as_of": dt.date(2026, 3, 1),
        "by": ("building", "age_band"),
        "against": None,
        "component": "",
        "level": 0.9,
    }
    assert settings_text(given) == "by building and age_band, level 0.9"


def test_what_stands_behind_names_data_and_program():
    shown = behind(rates(provenance=Provenance(data_version="snap-4.duckdb", package_version="0.1.0")), 200)
    assert "rests on 7 records; data snap-4.duckdb, dogdays 0.1.0." in shown


def test_every_layout_names_a_column_once_and_keeps_one_that_is_never_dropped():
    for name, layout in LAYOUTS.items():
        columns = [column for shown in layout for column in shown.columns]
        assert len(columns) == len(set(columns)), name
        assert min(shown.rank for shown in layout) == 1, name
    assert set(SECOND) | set(SECOND.values()) <= set(LAYOUTS)


def test_headings_tell_bounds_from_the_estimate():
    found = headings(rates())
    assert found["rate"] == ("rate a unit-year", "number")
    assert (found["low"][0], found["high"][0]) == ("low", "high")


def test_further_columns_of_an_answer_are_the_first_to_go():
    columns = (("lot", "text"), ("part_no", "text"), ("years", "number"))
    (layout,) = layouts_of(answer("lots", columns, [["a", "b", 1.0]]))
    assert [shown.columns[0] for shown in layout] == ["part_no", "lot", "years"]
    assert layout[-1].rank == 9

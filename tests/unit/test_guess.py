import random
import re
from dataclasses import replace

import pytest
from foreign_logs import STYLES, units, visits
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.ingest.guess import guess_files
from fleet.ingest.guess_file import NO_IDEA, SURE, SeenTable
from fleet.ingest.guess_fit import fit
from fleet.ingest.guess_likeness import likeness
from fleet.ingest.guess_values import ColumnValues, date_order, is_clock, is_date, number
from fleet.ingest.names import plain_name
from fleet.store.schema import TABLES

GUESSED = {name: (style(), guess_files([seen for seen, _, _ in style()])) for name, style in STYLES.items()}


def told(style):
    """Yield (file, column, what it was taken for, what it truly means) of one style."""
    files, guesses = GUESSED[style]
    for (_, means, truth), file in zip(files, guesses, strict=True):
        for column in file.columns:
            meant = truth[column.position] if file.table == means else None
            yield file, column, f"{column.means} {column.part}".strip(), meant


@pytest.mark.parametrize("style", STYLES)
def test_the_table_of_every_file_is_found(style):
    files, guesses = GUESSED[style]
    assert [file.table for file in guesses] == [means for _, means, _ in files]


@pytest.mark.parametrize("style", STYLES)
def test_nine_columns_of_ten_are_guessed_right(style):
    right = [got == meant for _, _, got, meant in told(style)]
    assert sum(right) >= 0.9 * len(right)


@pytest.mark.parametrize("style", STYLES)
def test_no_column_is_taken_for_a_wrong_one_for_sure(style):
    wrong = [(column.header, got) for _, column, got, meant in told(style) if column.sureness == SURE and got != meant]
    assert wrong == []


def test_units_named_in_headers_are_carried_over():
    _, guesses = GUESSED["with_units"]
    assert {column.means: column.unit for file in guesses for column in file.columns if column.unit} == {
        "labor_minutes": "h", "refrigerant_added_oz": "lb", "indoor_f": "C", "tons": "btu", "charge_oz": "kg",
        "lead_time_days": "weeks",
    }  # fmt: skip


def test_headers_below_titles_are_found():
    _, (file,) = GUESSED["two_line_titles"]
    assert file.header_record == 3
    assert file.headers[0] == "No."


def seen(name, headers, rows):
    return SeenTable(name=name, headers=headers, rows=rows, n_records=len(rows))


def test_a_row_of_values_isnt_taken_for_headers():
    rows = [["capacitor", "fan", "compressor"], ["fan", "meter", "unit"]]
    assert guess_files([seen("x.csv", ["A", "B", "C"], rows)])[0].header_record == 1


BASE = "Tag | | unit.tag; Called | | called iso; Finding | | word"


def one(lines, name="calls.csv"):
    """Guess one file of visits: tags, dates and findings, and the columns in question."""
    file = guess_files([visits(name, f"{BASE}; {lines}")[0]])[0]
    assert file.table == "visits"
    return {column.header: column for column in file.columns}


def test_traps_are_left_aside_or_called_a_guess():
    found = one(
        "Cost | | labor; Total | | labor; Priority | | 'High'; Type | | 'Residential'; Completed | | 'Yes';"
        "Outdoor Temp | | '98'; Serial No. | | unit.serial; Supply Temp | | '55'; Reported By | | 'Tenant'"
    )
    assert {name for name, column in found.items() if column.means} == {"Tag", "Called", "Finding", "Type"}
    assert found["Type"].sureness == "a guess"
    assert found["Serial No."].why == "the log has no place for it"
    assert found["Cost"].sureness == NO_IDEA


def test_a_count_of_rows_is_no_visits_number():
    rows = [[str(i + 1), f"JC{i % 7:02d}", "2024-05-01", "capacitor"] for i in range(20)]
    file = guess_files([seen("calls.csv", ["#", "Tag", "Date", "Found"], rows)])[0]
    assert [column.means for column in file.columns] == ["", "equipment_id", "reported_at", "finding"]


def test_readings_under_a_bare_section_arent_taken_for_ratings():
    found = one("Herm | | herm_found; Fan | | fan_found; Cap Size | | '45/5'")
    assert [found[name].means for name in ("Herm", "Fan", "Cap Size")] == ["herm_found_uf", "fan_found_uf", "herm_uf"]


def test_labor_without_a_unit_goes_by_its_values():
    hours = one("Labor | | minutes hours")["Labor"]
    assert (hours.means, hours.unit) == ("labor_minutes", "h")
    assert hours.sureness != SURE
    money = one("Labor | | labor dollars")["Labor"]
    assert (money.means, money.unit) == ("labor_cost", "")


def test_tags_known_from_another_file_give_a_column_away():
    listed = units("units.csv", "Tag | | tag; Bldg | | building")[0]
    calls = visits("x.csv", "Q | | unit.tag; Called | | called iso")[0]
    column = guess_files([calls, listed])[0].columns[0]
    assert column.means == "equipment_id"
    assert "other files have the same tags" in column.why
    assert column.sureness != SURE
    assert guess_files([calls])[0].columns[0].means == ""


def test_a_file_of_units_without_buildings_and_shelves_without_a_place_still_load():
    listed = units("units.csv", "Tag | | tag; Model | | model")[0]
    shelf = seen("shelf.csv", ["Part #", "Qty on hand"], [["RC-1", "2"], ["CT-2", "0"], ["FM-3", "4"], ["TS-4", "1"]])
    assert [(file.table, file.always[0][:2]) for file in guess_files([listed, shelf])] == [
        ("equipment", ("building", "unknown")), ("stock", ("location", "shop")),
    ]  # fmt: skip


def test_a_file_like_no_table_is_left_aside():
    file = guess_files([seen("menu.csv", ["Dish", "Calories"], [["soup", "300"], ["stew", "500"]])])[0]
    assert (file.table, file.why) == ("", "it is like no table of a log")


def test_readings_laid_out_wide_beside_the_visits_dont_replace_them():
    full = visits(
        "calls.csv", f"WO | | no; {BASE}; Tech | | tech; Outcome | | outcome; Notes | | note; Labor Min | | minutes"
    )
    wide = visits("caps.csv", "WO | | no; Tag | | unit.tag; Date | | called iso; Herm found | | herm_found")
    files = guess_files([full[0], wide[0]])
    assert [file.table for file in files] == ["visits", ""]
    assert "calls.csv" in files[1].why


def test_apartments_stand_for_tags_only_where_each_is_one_place():
    lines = "Apt | | unit.apartment; Date | | called iso; Found | | word"
    single = guess_files([visits("calls.csv", lines)[0]])[0]
    assert {column.header: column.means for column in single.columns}["Apt"] == "equipment_id"
    both = guess_files([visits("calls.csv", lines + "; Bldg | | unit.building")[0]])[0]
    assert "equipment_id" not in [column.means for column in both.columns]
    assert both.missing == ("equipment_id",)


def test_a_lone_date_is_the_calls():
    file = guess_files([visits("calls.csv", "Tag | | unit.tag; Arrived | | arrived iso; Found | | word")[0]])[0]
    assert [column.means for column in file.columns] == ["equipment_id", "reported_at", "finding"]
    assert file.columns[1].sureness == "a guess"


@pytest.mark.parametrize(
    ("text", "value"),
    [("$1,234.50", 1234.5), ("(12.00)", -12), ("1.234,50 EUR", 1234.5), ("44,2", 44.2), ("45/5", 45), ("88-108", 88),
     ("44.2 mfd", 44.2), ("-3", -3), ("abc", None), ("1 lb 6 oz", None), ("", None), ("12-B", None)],
)  # fmt: skip
def test_numbers(text, value):
    assert number(text) == value


def test_dates_and_times_of_day():
    assert all(
        map(is_date, ("2024-05-03", "5/3/24", "03.05.2024 14:10", "3 May 2024", "May 3, 2024 2:10 PM", "45415.5"))
    )
    assert not any(map(is_date, ("2024-13-03", "45/5", "13/13/2024", "1.5", "May", "")))
    assert all(map(is_clock, ("9:05", "14:10:22", "9:05 pm", "9 AM", "9.30 p.m.")))
    assert not any(map(is_clock, ("4.73", "2024-05-03", "95", "25:00")))


def test_the_order_of_day_and_month():
    assert date_order(["03/04/2024", "13/04/2024"]) == "dmy"
    assert date_order(["03/04/2024", "04/13/2024"]) == "mdy"
    assert date_order(["13/04/2024", "04/13/2024"]) == "both"
    assert date_order(["03/04/2024", "x"]) == "open"
    assert date_order(["03/03/2024", "2024-05-06"]) == ""


def values(*cells):
    return ColumnValues(cells)


def test_a_unit_nobody_names_is_guessed_from_the_middle_value():
    column = TABLES["visits"].column("labor_minutes")
    assert fit("visits", column, values("0.5", "1", "1.25", "2"))[1] == "h"
    assert fit("visits", column, values("30", "45", "90", "20"))[1] is None
    assert fit("equipment", TABLES["equipment"].column("tons"), values("18000", "24000", "36000"))[1] == "btu"
    assert fit("visits", TABLES["visits"].column("indoor_f"), values("26", "27.5", "31"))[1] == "C"


def test_likeness_knows_abbreviations_and_slips_of_the_pen():
    assert likeness("visits", "Technicain")["technician"] > 0.5
    assert likeness("visits", "Refrigrnt added")["refrigerant_added_oz"] > 0.5
    assert likeness("visits", "Zebra") == {}


def test_tags_are_compared_as_the_loader_compares_them():
    assert plain_name("JC-0104") == plain_name("jc 104") == "jc104"
    assert plain_name("Bldg 03") == plain_name("BLDG-3")


def slip(rng, header):
    """Return a header with a letter lost, doubled or swapped in each longer word."""

    def word(found):
        text = found[0]
        i = rng.randrange(1, len(text) - 1)
        kept = rng.choice((text[:i] + text[i + 1 :], text[:i] + text[i] + text[i:]))
        return rng.choice((kept, text[:i] + text[i + 1] + text[i] + text[i + 2 :]))

    return re.sub("[A-Za-z]{6,}", word, header)


@pytest.mark.parametrize("style", ["office_export", "wide_sheet", "with_units", "database_names"])
def test_slips_of_the_pen_cost_little_and_never_mislead(style):
    rng = random.Random(9)
    files = [(replace(one, headers=[slip(rng, h) for h in one.headers]), truth) for one, _, truth in STYLES[style]()]
    right = []
    for guess, (_, truth) in zip(guess_files([one for one, _ in files]), files, strict=True):
        for column in guess.columns:
            right.append(f"{column.means} {column.part}".strip() == truth[column.position])
            assert right[-1] or column.sureness != SURE, column.header
    assert sum(right) >= 0.85 * len(right)


CELLS = st.lists(st.lists(st.text(max_size=20), min_size=3, max_size=3), max_size=8)


@settings(max_examples=40, deadline=None)
@given(headers=st.lists(st.text(max_size=15), min_size=3, max_size=3), rows=CELLS)
def test_whatever_a_file_holds_a_guess_is_made(headers, rows):
    file = guess_files([seen("any.csv", headers, rows)])[0]
    meant = [(column.means, column.part) for column in file.columns if column.means]
    assert len(meant) == len(set(meant))
    assert [column.position for column in file.columns] == list(range(len(file.headers)))

"""Sheets as tables: what cells become, which rows are records, which sheets count."""

import datetime as dt
import re
import tempfile
from pathlib import Path

import pytest
import xlsxwriter
from hypothesis import given, settings
from hypothesis import strategies as st
from small_logs import unit, visit, write_log
from small_workbooks import HEADER, by_hand, make, texts, written

from fleet.errors import SourceError
from fleet.ingest.load import load_log
from fleet.ingest.raw import open_tables
from fleet.store.snapshots import Store

# cells


def cells_as_text(folder, write, n_columns, **options):
    def content(book, sheet):
        sheet.write_row(0, 0, [f"h{i}" for i in range(n_columns)])
        write(book, lambda column, value, code: sheet.write(1, column, value, book.add_format({"num_format": code})))

    path = make(folder / "book.xlsx", {"S": content}, **options)
    return written(folder, path)[1][0][1:]


@pytest.mark.parametrize("date_1904", [False, True])
def test_dates_and_times_become_iso_in_either_date_system(tmp_path, date_1904):
    def write(book, cell):
        cell(0, dt.datetime(2024, 6, 1, 8, 30), "yyyy-mm-dd hh:mm")
        cell(1, dt.date(2024, 6, 1), "m/d/yy")
        cell(2, dt.datetime(2024, 6, 1), "yyyy-mm-dd hh:mm:ss")
        cell(3, dt.time(8, 5), "h:mm AM/PM")
        cell(4, dt.timedelta(hours=30, minutes=5, seconds=7), "[h]:mm:ss")
        cell(5, dt.timedelta(minutes=45), "[h]:mm")
        cell(6, dt.datetime(2024, 2, 29, 23, 59, 59), "[$-409]d-mmm-yyyy h:mm AM/PM;@")

    assert cells_as_text(tmp_path, write, 7, date_1904=date_1904) == (
        "2024-06-01 08:30:00", "2024-06-01", "2024-06-01", "08:05:00", "30:05:07", "0:45:00", "2024-02-29 23:59:59",
    )  # fmt: skip


def test_serial_numbers_are_dates_as_the_file_format_defines_them(tmp_path):
    # ECMA-376 part 1, 18.17.4.1 (the 1900 system, from memory): serial 1 is 1900-01-01, 2958465 is 9999-12-31;
    # Microsoft's own example: 39448 is 2008-01-01
    def write(book, cell):
        for column, serial in enumerate((1, 39448, 2958465, 39448.5)):
            cell(column, serial, "yyyy-mm-dd hh:mm")

    assert cells_as_text(tmp_path, write, 4) == ("1900-01-01", "2008-01-01", "9999-12-31", "2008-01-01 12:00:00")


def test_floating_error_is_rounded_to_the_second(tmp_path):
    def write(book, cell):
        cell(0, 45444.354166666664, "yyyy-mm-dd hh:mm:ss")  # 08:30 as a fraction of a day
        cell(1, 45444.999999, "yyyy-mm-dd hh:mm:ss")  # less than half a second before midnight
        cell(2, 45444.000003, "yyyy-mm-dd hh:mm:ss")  # as little after it
        cell(3, 0.354166666664, "hh:mm:ss")
        cell(4, 0.9999999, "hh:mm:ss")
        cell(5, 1.2499999999, "[h]:mm:ss")
        cell(6, 2958465.9999999, "yyyy-mm-dd hh:mm:ss")

    assert cells_as_text(tmp_path, write, 7) == (
        "2024-06-01 08:30:00", "2024-06-02", "2024-06-01", "08:30:00", "23:59:59", "30:00:00", "9999-12-31 23:59:59",
    )  # fmt: skip


def test_every_minute_of_a_day_comes_back(tmp_path):
    start = dt.datetime(2024, 6, 1)
    times = [start + dt.timedelta(minutes=i) for i in range(1440)]

    def content(book, sheet):
        form = book.add_format({"num_format": "yyyy-mm-dd hh:mm"})
        sheet.write_row(0, 0, ["at", "what"])
        for i, at in enumerate(times, start=1):
            sheet.write_datetime(i, 0, at, form)

    _, rows = written(tmp_path, make(tmp_path / "book.xlsx", {"S": content}))
    assert [row[1] for row in rows] == [str(at) if at != start else "2024-06-01" for at in times]


def test_numbers_booleans_and_texts_keep_what_they_are(tmp_path):
    def write(book, cell):
        for column, value in enumerate(
            (3.0, 0.1, 44.8, 1e20, -0.0, 1e-7, -12.5, 1234567890123456, True, False, ' a, "b" ', "line\nline", "007")
        ):
            cell(column, value, "General")

    assert cells_as_text(tmp_path, write, 13) == (
        "3", "0.1", "44.8", "100000000000000000000", "0", "1e-07", "-12.5", "1234567890123456", "yes", "no",
        ' a, "b" ', "line\nline", "007",
    )  # fmt: skip


def test_carriage_returns_in_a_cell_survive(tmp_path):
    path = make(tmp_path / "book.xlsx", {"S": [["a", "b"], ["x\r\ny", "p\rq"], ["z", "w"]]})
    assert written(tmp_path, path)[1] == [(2, "x\r\ny", "p\rq"), (3, "z", "w")]


def test_errors_become_their_text(tmp_path):
    def content(book, sheet):
        sheet.write_row(0, 0, ["a", "b", "c"])
        sheet.write_formula(1, 1, "=NA()", None, "#N/A")
        sheet.write_formula(2, 0, "=1/0", None, "#DIV/0!")
        sheet.write(2, 1, 5)
        sheet.write_formula(3, 2, "=x", None, "#NAME?")

    _, rows = written(tmp_path, make(tmp_path / "book.xlsx", {"S": content}))
    assert rows == [(2, None, "#N/A", None), (3, "#DIV/0!", "5", None), (4, None, None, "#NAME?")]


def test_formulas_give_what_they_last_came_to(tmp_path):
    def content(book, sheet):
        sheet.write_row(0, 0, ["a", "b", "c", "d"])
        sheet.write_formula(1, 0, "=2*21", None, 42)
        sheet.write_formula(1, 1, '="x"&"y"', None, "xy")
        sheet.write_formula(1, 2, '=""', None, "")
        sheet.write_formula(1, 3, "=TRUE()", None, True)

    _, rows = written(tmp_path, make(tmp_path / "book.xlsx", {"S": content}))
    assert rows == [(2, "42", "xy", None, "yes")]


@settings(max_examples=20, derandomize=True, deadline=None, database=None)
@given(st.lists(st.lists(texts, min_size=2, max_size=2), min_size=1, max_size=5))
def test_any_text_comes_back_exactly(rows):
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        path = make(folder / "book.xlsx", {"S": [["a", "b"], *rows]}, strings_to_urls=False, strings_to_formulas=False)
        assert written(folder, path)[1] == [(i, *row) for i, row in enumerate(rows, start=2)]


# rows


def test_empty_rows_and_rows_above_the_header_are_set_aside_under_their_own_numbers(tmp_path):
    rows = [["Cooling calls 2024"], [], HEADER, ["V1", "U1", "2024-06-01"], ["", " ", ""], ["V2", "U2", "2024-06-02"]]
    raw, found = written(tmp_path, make(tmp_path / "book.xlsx", {"S": rows}))
    assert (raw.headers, raw.header_record, raw.n_records) == (tuple(HEADER), 3, 5)
    assert found == [(4, "V1", "U1", "2024-06-01"), (6, "V2", "U2", "2024-06-02")]
    aside = [(one.record, one.reason, one.text, one.blank) for one in raw.set_aside]
    assert aside == [
        (1, "above the header", "Cooling calls 2024,,", True), (2, "above the header", ",,", True),
        (5, "empty line", "", True),
    ]  # fmt: skip


def test_the_header_said_wins_over_the_guess(tmp_path):
    path = make(tmp_path / "book.xlsx", {"S": [HEADER, ["Ref", "Tag", "Day"], ["V1", "U1", "x"]]})
    assert written(tmp_path, path)[0].headers == tuple(HEADER)
    raw, found = written(tmp_path, path, header_record={"book.xlsx:S": 2}.get)
    assert (raw.headers, found) == (("Ref", "Tag", "Day"), [(3, "V1", "U1", "x")])
    raw, _ = written(tmp_path, path, looks_like_header=lambda row: row[0] == "Ref")
    assert raw.header_record == 2
    with pytest.raises(SourceError, match=r"book\.xlsx:S: record 9 is said .*, but the file has 3 in all"):
        written(tmp_path, path, header_record=9)


def test_a_table_may_stand_anywhere_on_its_sheet(tmp_path):
    def content(book, sheet):
        sheet.write_row(4, 2, HEADER)
        sheet.write_row(5, 2, ["V1", "U1", "2024-06-01"])

    raw, found = written(tmp_path, make(tmp_path / "book.xlsx", {"S": content}))
    assert (raw.headers, raw.header_record) == (tuple(HEADER), 5)
    assert found == [(6, "V1", "U1", "2024-06-01")]
    assert raw.n_records == 5


def test_a_column_without_a_name_that_holds_something_is_named_by_its_letter(tmp_path):
    rows = [["a", "", "b"], ["1", "", "2"], ["3", "", "4", "", "see note"]]
    raw, found = written(tmp_path, make(tmp_path / "book.xlsx", {"S": rows}))
    assert raw.headers == ("a", "", "b", "", "column E")
    assert found == [(2, "1", None, "2", None, None), (3, "3", None, "4", None, "see note")]


def test_formats_on_empty_cells_make_no_records(tmp_path):
    def content(book, sheet):
        form = book.add_format({"num_format": "0"})
        sheet.write_row(0, 0, HEADER)
        sheet.write_row(1, 0, ["V1", "U1", "2024-06-01"])
        for i in range(2, 40):
            sheet.write_blank(i, 5, None, form)
        sheet.write_string(40, 0, " ")  # spaces are nothing either
        sheet.write_formula(41, 0, '=""', None, "")

    raw, _ = written(tmp_path, make(tmp_path / "book.xlsx", {"S": content}))
    assert (raw.n_records, raw.set_aside, len(raw.headers)) == (1, (), 3)


def test_a_nul_in_a_cell_costs_its_record(tmp_path):
    cells = "".join(
        f'<row r="{i}"><c r="A{i}" t="inlineStr"><is><t>{text}</t></is></c></row>'
        for i, text in enumerate(("a", "x_x0000_y", "z"), start=1)
    )
    raw, found = written(tmp_path, by_hand(tmp_path / "book.xlsx", cells))
    assert found == [(3, "z")]
    assert [(one.record, one.reason, one.blank) for one in raw.set_aside] == [(2, "nul_byte", False)]


def test_merged_cells_hold_their_value_once(tmp_path):
    def content(book, sheet):
        sheet.merge_range(0, 0, 0, 2, "Cooling calls")
        sheet.write_row(1, 0, HEADER)
        sheet.merge_range(2, 0, 3, 0, "V1")
        sheet.write_row(2, 1, ["U1", "2024-06-01"])
        sheet.write_row(3, 1, ["U1", "2024-06-02"])

    raw, found = written(tmp_path, make(tmp_path / "book.xlsx", {"S": content}))
    assert raw.header_record == 2
    assert found == [(3, "V1", "U1", "2024-06-01"), (4, None, "U1", "2024-06-02")]


# sheets


def test_every_sheet_that_holds_something_is_a_table_hidden_ones_too(tmp_path):
    def hidden(book, sheet):
        sheet.write_row(0, 0, HEADER)
        sheet.hide()

    def very_hidden(book, sheet):
        sheet.write_row(0, 0, ["a"])
        sheet.very_hidden()

    path = make(
        tmp_path / "book.xlsx",
        {"visits": [HEADER, ["V1", "U1", "x"]], "nothing": [], "equip <&> 'ment": hidden, "Très": very_hidden},
    )
    with xlsxwriter.Workbook(str(tmp_path / "chart.xlsx")) as book:
        book.add_worksheet("data").write_row(0, 0, ["a", "b"])
        chart = book.add_chart({"type": "line"})
        chart.add_series({"values": "=data!$A$1:$B$1"})
        book.add_chartsheet("picture").set_chart(chart)
    raws = open_tables("book.xlsx", path, scratch=tmp_path / "s")
    assert [raw.name for raw in raws] == ["book.xlsx:visits", "book.xlsx:equip <&> 'ment", "book.xlsx:Très"]
    assert [raw.n_records for raw in raws] == [1, 0, 0]
    assert len({raw.path for raw in raws}) == 3
    found = open_tables("chart.xlsx", tmp_path / "chart.xlsx", scratch=tmp_path / "s")
    assert [raw.member for raw in found] == ["data"]


def test_a_macro_workbook_and_one_of_another_ending_are_read(tmp_path):
    path = make(tmp_path / "book.xlsx", {"S": [HEADER, ["V1", "U1", "x"]]})
    for name in ("book.xlsm", "visits.csv"):
        (tmp_path / name).write_bytes(path.read_bytes())
        assert open_tables(name, tmp_path / name, scratch=tmp_path / "s")[0].headers == tuple(HEADER)


def test_an_empty_workbook_and_an_empty_or_missing_sheet_are_refused(tmp_path):
    path = make(tmp_path / "book.xlsx", {"S": [], "T": [["a"]]})
    with pytest.raises(SourceError, match=r"book\.xlsx:S is empty; one of its first rows must name the columns"):
        written(tmp_path, path)
    with pytest.raises(SourceError, match=r"book\.xlsx has no sheet 'U'; its sheets are S, T"):
        written(tmp_path, path, "U")
    path = make(tmp_path / "empty.xlsx", {"S": [], "T": []})
    with pytest.raises(SourceError, match=r"empty\.xlsx is empty; none of its sheets holds anything"):
        open_tables("empty.xlsx", path, scratch=tmp_path / "s")


# a whole log


def test_a_workbook_gives_the_clean_tables_of_the_same_rows_as_csv(tmp_path):
    tables = {
        "equipment": [unit("U-007", charge_oz=70.5), unit("U2", installed_on="2019-05-01")],
        "visits": [
            visit("V1", "U-007", "2024-06-01 08:30", arrived_at="2024-06-01 23:59", labor_minutes=45, after_hours="no"),
            visit("V2", "U2", "2024-06-02", labor_cost=12.25, notes='say "x",\nthen wait'),
            visit("V3", "nowhere", "2024-06-03"),
        ],
    }

    def sheet_of(rows):
        def content(book, sheet):
            columns = list(dict.fromkeys(column for row in rows for column in row))
            sheet.write_string(0, 0, "Cooling calls")
            sheet.write_row(2, 0, columns)
            for i, row in enumerate(rows, start=3):
                for j, column in enumerate(columns):
                    value = row.get(column, "")
                    if re.match(r"\d{4}-\d\d-\d\d", str(value)):
                        form = book.add_format({"num_format": "m/d/yy h:mm"})
                        sheet.write_datetime(i, j, dt.datetime.fromisoformat(value), form)
                    elif value == "no":
                        sheet.write_boolean(i, j, False)
                    else:
                        sheet.write(i, j, value)

        return content

    write_log(tmp_path / "csv", **tables)
    make(tmp_path / "log.xlsx", {name: sheet_of(rows) for name, rows in tables.items()}, strings_to_numbers=False)
    clean, counts = [], []
    for number, log in enumerate(("csv", "log.xlsx")):
        store = Store(tmp_path / f"store{number}")
        report = load_log(tmp_path / log, store, loaded_on=dt.date(2025, 1, 1))
        counts.append([(a.table, a.clean, a.quarantined, a.blank) for a in report.accounts])
        with store.open() as database:
            clean.append([
                database.rows("select * exclude (source_id, place) from log.clean.visit order by all"),
                database.rows("select * from log.clean.equipment order by all"),
            ])  # fmt: skip
    assert clean[0] == clean[1]
    assert counts[0] == [("equipment", 2, 0, 0), ("visits", 2, 1, 0)]
    assert counts[1] == [("equipment", 2, 0, 2), ("visits", 2, 1, 2)]

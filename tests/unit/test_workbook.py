"""Workbooks made here, by a library or member by member: what their cells become, how they are counted and refused."""

import csv
import datetime as dt
import io
import tempfile
import zipfile
from pathlib import Path
from unittest.mock import Mock

import pytest
import xlsxwriter
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.errors import SourceError
from fleet.ingest import workbook_count
from fleet.ingest.raw import open_tables, raw_workbook
from fleet.ingest.workbook import open_workbook
from fleet.ingest.workbook_count import WorkbookParts
from fleet.store.database import Database

HEADER = ["visit_id", "unit", "date"]


def make(path, sheets, **options):
    """Write a workbook; ``sheets`` holds rows by name, or a function that writes a sheet."""
    with xlsxwriter.Workbook(str(path), options) as book:
        for name, content in sheets.items():
            sheet = book.add_worksheet(name)
            if callable(content):
                content(book, sheet)
            else:
                for i, row in enumerate(content):
                    sheet.write_row(i, 0, row)
    return path


def rows_of(raw, folder):
    """Return a raw table's rows as DuckDB reads them: record, then the cells."""
    with Database.scratch(folder) as database:
        n = raw.run(database, lambda relation: f"create table memory.main.t as select * from {relation}")
        rows = database.rows("select record, * exclude (record) from memory.main.t order by record")
    assert n == len(rows)
    assert n + len(raw.set_aside) == raw.n_records
    return rows


def written(folder, path, sheet="S", **options):
    raw = raw_workbook(path.name, path, sheet, scratch=folder / "scratch", **options)
    return raw, rows_of(raw, folder)


NAMESPACE = 'xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"'
OFFICE = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
PACKAGE = "http://schemas.openxmlformats.org/package/2006"


def by_hand(path, cells, strings="", *, prolog="", target="worksheets/sheet1.xml", **members):
    """Write a workbook of one sheet S from the XML of its rows; ``members`` replace parts by their last name."""
    parts = {
        "[Content_Types].xml": f'<Types xmlns="{PACKAGE}/content-types"/>',
        "_rels/.rels": f'<Relationships xmlns="{PACKAGE}/relationships">'
        f'<Relationship Id="rId1" Type="{OFFICE}/officeDocument" Target="xl/workbook.xml"/></Relationships>',
        "xl/workbook.xml": f'<workbook {NAMESPACE} xmlns:r="{OFFICE}"><sheets>'
        '<sheet name="S" sheetId="1" r:id="rId1"/></sheets></workbook>',
        "xl/_rels/workbook.xml.rels": f'<Relationships xmlns="{PACKAGE}/relationships">'
        f'<Relationship Id="rId1" Type="{OFFICE}/worksheet" Target="{target}"/>'
        f'<Relationship Id="rId2" Type="{OFFICE}/sharedStrings" Target="sharedStrings.xml"/></Relationships>',
        "xl/worksheets/sheet1.xml": f"{prolog}<worksheet {NAMESPACE}><sheetData>{cells}</sheetData></worksheet>",
        "xl/sharedStrings.xml": f"<sst {NAMESPACE}>{strings}</sst>",
    }
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in parts.items():
            archive.writestr(name, members.get(name.rpartition("/")[2].partition(".")[0], text))
    return path


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


texts = st.text(
    alphabet=st.one_of(st.sampled_from('a,"\n\té µ_x0D'), st.characters(codec="utf-8", exclude_categories=("C",))),
    min_size=1, max_size=20,
).filter(lambda text: text.strip())  # fmt: skip


@settings(max_examples=40, derandomize=True, deadline=None, database=None)
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
    with pytest.raises(SourceError, match=r"book\.xlsx:S: record 9 is said to hold the headers, but it has 3 records"):
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


# odd but allowed by the format


def test_rows_and_cells_may_leave_their_places_unsaid(tmp_path):
    cells = "<row><c><v>1</v></c><c/><c><v>2</v></c></row><row/><row><c><v>3</v></c></row>"
    raw, found = written(tmp_path, by_hand(tmp_path / "book.xlsx", cells))
    assert (raw.headers, found, raw.n_records) == (("1", "", "2"), [(3, "3", None, None)], 2)


def test_rows_may_come_in_any_order_and_names_with_a_prefix(tmp_path):
    sheet = (
        '<x:worksheet xmlns:x="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><x:sheetData>'
        '<x:row r="3"><x:c r="A3" t="str"><x:v>late</x:v></x:c></x:row>'
        '<x:row r="1"><x:c r="A1" t="inlineStr"><x:is><x:t>a</x:t></x:is></x:c></x:row>'
        "</x:sheetData></x:worksheet>"
    )
    raw, found = written(tmp_path, by_hand(tmp_path / "book.xlsx", "", sheet1=sheet))
    assert (raw.headers, found, raw.n_records) == (("a",), [(3, "late")], 2)


def test_shared_strings_may_be_empty_rich_or_carry_readings(tmp_path):
    strings = (
        "<si><t>a</t></si><si><t/></si><si><r><t>ri</t></r><r><t>ch</t></r></si>"
        '<si><t>&#26481;</t><rPh sb="0" eb="1"><t>higashi</t></rPh></si><si><t>_x000D_</t></si><si><t> </t></si>'
    )
    cells = "".join(f'<row r="{i + 1}"><c r="A{i + 1}" t="s"><v>{i}</v></c></row>' for i in range(6))
    raw, found = written(tmp_path, by_hand(tmp_path / "book.xlsx", cells, strings))
    assert found == [(3, "rich"), (4, "東")]
    assert raw.n_records == 3
    assert [(one.record, one.reason) for one in raw.set_aside] == [(2, "empty line")]


def test_iso_dates_are_read(tmp_path):
    cells = (
        '<row r="1"><c r="A1" t="str"><v>at</v></c></row>'
        '<row r="2"><c r="A2" t="d"><v>2024-06-01T08:30:00</v></c></row>'
        '<row r="3"><c r="A3" t="d"><v>2024-06-01</v></c></row>'
    )
    _, found = written(tmp_path, by_hand(tmp_path / "book.xlsx", cells))
    assert found == [(2, "2024-06-01 08:30:00"), (3, "2024-06-01")]


# refused

ONE = '<row r="1"><c r="A1"><v>1</v></c></row>'


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (
            {"prolog": '<!DOCTYPE worksheet [<!ENTITY a "aaaa">]>'},
            r"book\.xlsx:S is damaged \(it holds a document type",
        ),
        ({"target": "worksheets/sheet9.xml"}, r"book\.xlsx:S is damaged \(.*sheet9\.xml"),
        ({"target": "../../../../etc/passwd"}, r"book\.xlsx:S is damaged \(.*etc/passwd"),
        ({"sheet1": "<worksheet><sheetData>"}, r"book\.xlsx:S is damaged \(no element found"),
        ({"workbook": "no xml"}, r"book\.xlsx is damaged \(syntax error"),
        ({"cells": '<row r="1"><c r="A1" t="s"><v>7</v></c></row>'}, r"book\.xlsx:S is damaged \("),
        ({"cells": '<row r="1"><c r="A99999999999"><v>1</v></c></row>'}, r"A99999999999, outside of any sheet"),
        ({"cells": '<row r="1"><c r="XFE1"><v>1</v></c></row>'}, r"XFE1, outside of any sheet"),
        ({"cells": '<row r="1"><c r="ABCD1"><v>1</v></c></row>'}, r"'ABCD' is no column of a sheet"),
        ({"cells": '<row r="0"><c r="A0"><v>1</v></c></row>'}, r"A0, outside of any sheet"),
    ],
)
def test_a_damaged_or_tampered_workbook_is_refused_in_one_sentence(tmp_path, options, said):
    path = by_hand(tmp_path / "book.xlsx", **{"cells": ONE, **options})
    with pytest.raises(SourceError, match=said) as caught:
        open_tables(path.name, path, scratch=tmp_path / "s")
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("value", ["<v>1</v>", "<v></v>", "<is><t/></is>"])
def test_values_far_apart_are_refused_before_memory_runs_out(tmp_path, value):
    cells = f'{ONE}<row r="1048576"><c r="XFD1048576" t="str">{value}</c></row>'
    path = by_hand(tmp_path / "book.xlsx", cells)
    with pytest.raises(SourceError, match=r"book\.xlsx:S has values in row 1048576 and in column 16384"):
        open_tables(path.name, path, scratch=tmp_path / "s")


def test_a_member_that_unpacks_to_too_much_is_refused(tmp_path, monkeypatch):
    monkeypatch.setattr(workbook_count, "MOST_BYTES", 1_000_000)
    path = by_hand(tmp_path / "book.xlsx", ONE, f"<si><t>{'a' * 2_000_000}</t></si>")
    assert path.stat().st_size < 10_000
    with pytest.raises(SourceError, match=r"book\.xlsx unpacks to more than .* GB \(xl/sharedStrings\.xml\)"):
        open_tables(path.name, path, scratch=tmp_path / "s")


def test_a_member_larger_than_it_says_is_refused(tmp_path):
    path = by_hand(tmp_path / "book.xlsx", ONE, f"<si><t>{'a' * 5000}</t></si>")
    with zipfile.ZipFile(path) as archive:
        size = archive.getinfo("xl/sharedStrings.xml").file_size.to_bytes(4, "little")
    path.write_bytes(path.read_bytes().replace(size, (10).to_bytes(4, "little")))
    with pytest.raises(SourceError, match=r"book\.xlsx is damaged"):
        open_tables(path.name, path, scratch=tmp_path / "s")


def test_nothing_is_unpacked_to_disk(tmp_path):
    path = make(tmp_path / "book.xlsx", {"S": [HEADER, ["V1", "U1", "x"]]})
    with zipfile.ZipFile(path, "a") as archive:
        archive.writestr("../../out.xml", "<a/>")
    open_tables(path.name, path, scratch=tmp_path / "s")
    assert sorted(file.name for file in tmp_path.rglob("*")) == sorted(
        ["book.xlsx", "s", *(file.name for file in (tmp_path / "s").iterdir())]
    )
    assert [file.suffix for file in (tmp_path / "s").iterdir()] == [".csv"]


def test_a_workbook_cut_off_is_refused(tmp_path):
    path = make(tmp_path / "book.xlsx", {"S": [HEADER, *([f"V{i}", "U1", "x"] for i in range(500))]})
    path.write_bytes(path.read_bytes()[:-500])
    with pytest.raises(SourceError, match=r"book\.xlsx is damaged \(.*\); save it again, or as CSV"):
        open_tables(path.name, path, scratch=tmp_path / "s")


def test_a_flipped_byte_is_found(tmp_path):
    path = make(tmp_path / "book.xlsx", {"S": [HEADER, *([f"V{i}", f"U{i * 7919}", "x"] for i in range(5000))]})
    damaged = bytearray(path.read_bytes())
    with zipfile.ZipFile(path) as archive:
        info = archive.getinfo("xl/worksheets/sheet1.xml")
    damaged[info.header_offset + 2000] ^= 0xFF
    path.write_bytes(damaged)
    with pytest.raises(SourceError, match=r"book\.xlsx is damaged"):
        open_tables(path.name, path, scratch=tmp_path / "s")


def test_a_value_the_reader_drops_is_noticed(tmp_path):
    # the reader of cells knows nothing of CDATA sections; the count over the XML does
    cells = f'{ONE}<row r="2"><c r="A2" t="str"><v><![CDATA[V1]]></v></c></row><row r="3"><c r="A3"><v>3</v></c></row>'
    path = by_hand(tmp_path / "book.xlsx", cells)
    with pytest.raises(SourceError, match=r"book\.xlsx:S was read twice with different results"):
        open_tables(path.name, path, scratch=tmp_path / "s")


def test_a_reader_that_loses_a_row_is_found_out(tmp_path, monkeypatch):
    path = make(tmp_path / "book.xlsx", {"S": [HEADER, ["V1", "U1", "x"], ["V2", "U2", "y"]]})

    class Short:
        def __init__(self, sheet):
            self.start, self._sheet = sheet.start, sheet

        def iter_rows(self):
            return iter(list(self._sheet.iter_rows())[:-1])

    with open_workbook(path.name, path) as book:
        whole = book._reader.get_sheet_by_name("S")
        monkeypatch.setattr(book, "_reader", Mock(get_sheet_by_name=lambda _: Short(whole)))
        with pytest.raises(SourceError, match=r"\(2 rows with 6 filled cells, then 3 with 9\)"):
            book.write("S", tmp_path / "out.csv")


# the count


@settings(max_examples=60, derandomize=True, deadline=None, database=None)
@given(
    st.dictionaries(
        st.tuples(st.integers(0, 40), st.integers(0, 30)),
        st.one_of(texts, st.sampled_from(["", " ", "\n"]), st.integers(-5, 5), st.floats(-1e9, 1e9), st.booleans()),
        max_size=25,
    )
)
def test_the_count_is_that_of_the_cells_written(cells):
    filled = {place for place, value in cells.items() if not isinstance(value, str) or value.strip()}
    stream = io.BytesIO()
    with xlsxwriter.Workbook(stream, {"in_memory": True, "strings_to_urls": False}) as book:
        sheet = book.add_worksheet("S")
        for (row, column), value in cells.items():
            (sheet.write_string if isinstance(value, str) else sheet.write)(row, column, value)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "book.xlsx"
        path.write_bytes(stream.getvalue())
        count = WorkbookParts("book.xlsx", path).count("S")
    assert count.n_filled == len(filled)
    assert count.last_row == max((row + 1 for row, _ in filled), default=0)
    assert count.last_column == max((column + 1 for _, column in filled), default=0)


def test_the_file_written_is_the_one_a_repair_writes(tmp_path):
    path = make(tmp_path / "book.xlsx", {"S": [HEADER, ["V1", 'say "x"', ""]]})
    with open_workbook(path.name, path) as book:
        book.write("S", tmp_path / "out.csv")
    assert (tmp_path / "out.csv").read_bytes() == b'"2","V1","say ""x""",""\n'
    with (tmp_path / "out.csv").open(newline="") as stream:
        assert next(csv.reader(stream)) == ["2", "V1", 'say "x"', ""]

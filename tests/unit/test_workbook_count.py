"""What the file format allows, what is refused, and the count that sheets are held to."""

import csv
import io
import tempfile
import zipfile
from pathlib import Path
from unittest.mock import Mock

import pytest
import xlsxwriter
from hypothesis import given, settings
from hypothesis import strategies as st
from small_workbooks import HEADER, by_hand, make, texts, written

from fleet.errors import SourceError
from fleet.ingest import workbook_count
from fleet.ingest.raw import open_tables
from fleet.ingest.workbook import open_workbook
from fleet.ingest.workbook_count import WorkbookParts

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
        with pytest.raises(SourceError, match=r"\(filled cells to row 2: 6, then to row 3: 9\)"):
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

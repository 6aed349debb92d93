import csv
import io
import tempfile
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.ingest import csv_repair
from fleet.ingest.csv_bytes import CsvFacts, look_at_csv
from fleet.ingest.csv_repair import MOST_LINES, first_records, repair, split_record


def repaired(tmp_path, content, n_fields=3, **options):
    source = tmp_path / "a.csv"
    source.write_bytes(content if isinstance(content, bytes) else content.encode())
    found = repair(source, look_at_csv("a.csv", source), n_fields, tmp_path / "b.csv", **options)
    with (tmp_path / "b.csv").open(encoding="utf-8", newline="") as stream:
        rows = list(csv.reader(stream))
    return rows, [(aside.record, aside.reason) for aside in found.set_aside]


def test_good_records_keep_their_numbers(tmp_path):
    rows, aside = repaired(tmp_path, 'a,b,c\n1,"two\nlines",3\n4,5,"say ""x"""\n')
    assert rows == [["2", "1", "two\nlines", "3"], ["3", "4", "5", 'say "x"']]
    assert aside == []


def test_an_open_quote_costs_one_record(tmp_path):
    later = "".join(f'{i},b,"note, {i}"\n' for i in range(500))
    rows, aside = repaired(tmp_path, 'a,b,c\n1,2,3\n4,"open,6\n' + later)
    assert aside == [(3, "quote_not_closed")]
    assert len(rows) == 501
    assert rows[1] == ["4", "0", "b", "note, 0"]


def test_an_open_quote_before_unquoted_records_costs_one_record(tmp_path):
    rows, aside = repaired(tmp_path, 'a,b,c\n4,"open,6\n' + "1,2,3\n" * 1000)
    assert (len(rows), aside) == (1000, [(2, "quote_not_closed")])


def test_a_quote_inside_an_unquoted_field_is_just_a_mark(tmp_path):
    rows, aside = repaired(tmp_path, 'a,b,c\n1,3/4" pipe,3\n2,1/2" by 1/4",3\n')
    assert [row[2] for row in rows] == ['3/4" pipe', '1/2" by 1/4"']
    assert aside == []


@pytest.mark.parametrize(
    ("record", "reason"),
    [
        ("1,2", "too_few_fields"),
        ("1,2,3,4", "too_many_fields"),
        ('1,"two\nlines"', "too_few_fields"),
        ('1,"a"b,3', "quote_misplaced"),
        ("1,\x002,3", "nul_byte"),
        ("", "empty line"),
    ],
)
def test_what_cant_be_split_is_set_aside_with_its_reason(tmp_path, record, reason):
    rows, aside = repaired(tmp_path, f"a,b,c\n{record}\n7,8,9\n")
    assert aside == [(2, reason)]
    assert rows == [["3", "7", "8", "9"]]


def test_trailing_delimiters_are_dropped(tmp_path):
    assert repaired(tmp_path, "a,b,c\n1,2,3,,\n")[0] == [["2", "1", "2", "3"]]


def test_mixed_line_ends(tmp_path):
    rows, _ = repaired(tmp_path, b"a,b,c\r\n1,2,3\n4,5,6\r7,8,9\r\n")
    assert [row[1] for row in rows] == ["1", "4", "7"]


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "utf-16-le", "cp1252", "latin-1"])
def test_encodings(tmp_path, encoding):
    rows, _ = repaired(tmp_path, "a,b,c\n1,45 µF,é\n".encode(encoding))
    assert rows == [["2", "1", "45 µF", "é"]]


def test_one_line_in_another_encoding_leaves_the_others_alone(tmp_path):
    good = "1,45 µF,3\n".encode() * 30_000  # further than the first look reaches
    rows, _ = repaired(tmp_path, b"a,b,c\n" + good + "2,45 µF,3\n".encode("cp1252"))
    assert {row[2] for row in rows} == {"45 µF"}


def test_a_note_longer_than_the_limit_is_an_open_quote(tmp_path):
    rows, aside = repaired(tmp_path, 'a,b,c\n1,2,"' + "x\n" * (MOST_LINES + 5) + '"\n7,8,9\n')
    assert aside[0] == (2, "quote_not_closed")
    assert rows[-1][1:] == ["7", "8", "9"]


# encodings


LATE = b"a,b,c\n" + b"1,plain,3\n" * 30_000  # further than the first look reaches


def test_a_first_odd_byte_late_in_a_large_file_costs_and_changes_nothing(tmp_path):
    rows, aside = repaired(tmp_path, LATE + "2,45 µF – “ok”,é\n".encode("cp1252") + b"3,x,y\n")
    assert aside == []
    assert len(rows) == 30_002
    assert rows[-2:] == [["30002", "2", "45 µF – “ok”", "é"], ["30003", "3", "x", "y"]]


def test_lines_of_utf_8_in_a_file_that_begins_otherwise_stay_what_they_are(tmp_path):
    rows, _ = repaired(tmp_path, "a,b,c\n1,µF,3\n".encode("cp1252") + "2,45 µF “new”,3\n".encode())
    assert [row[2] for row in rows] == ["µF", "45 µF “new”"]


def test_a_byte_cp1252_has_no_letter_for_makes_the_whole_file_latin_1(tmp_path):
    # 0x93 is a quotation mark in CP1252 and a control character in Latin-1; 0x81 stands for nothing in CP1252
    rows, _ = repaired(tmp_path, b"a,b,c\n1,\x93,3\n2,\x81\xb5,3\n")
    assert [row[2] for row in rows] == ["\x93", "\x81µ"]
    rows, _ = repaired(tmp_path, b"a,b,c\n1,\x93,3\n2,\xb5,3\n")
    assert [row[2] for row in rows] == ["“", "µ"]


def test_such_a_byte_inside_a_letter_of_utf_8_says_nothing(tmp_path):
    rows, _ = repaired(tmp_path, "a,b,c\n1,Á,3\n".encode() + b"2,\x93,3\n")  # Á ends in 0x81
    assert [row[2] for row in rows] == ["Á", "“"]


@pytest.mark.parametrize("encoding", ["utf-16", "utf-16-le", "utf-16-be"])
@pytest.mark.parametrize("mark", ["", "\ufeff"])
def test_utf_16_with_and_without_its_mark(tmp_path, encoding, mark):
    mark = "" if encoding == "utf-16" else mark
    rows, _ = repaired(tmp_path, f'{mark}a,b,c\r\n1,"45 µF,\r\nnew",é\r\n'.encode(encoding))
    assert rows == [["2", "1", "45 µF,\nnew", "é"]]


# what stands above the header


def test_records_above_the_header_are_set_aside_and_the_others_keep_their_numbers(tmp_path):
    rows, aside = repaired(tmp_path, '\nCalls, 2024\n"two\nlines"\n,,\na,b,c\n1,2,3\n\n4,5\n', header_record=5)
    assert aside == [
        (1, "above the header"), (2, "above the header"), (3, "above the header"), (4, "above the header"),
        (7, "empty line"), (8, "too_few_fields"),
    ]  # fmt: skip
    assert rows == [["6", "1", "2", "3"]]


def test_the_first_records_are_split_whatever_their_width(tmp_path):
    source = tmp_path / "a.csv"
    source.write_text('Calls 12" "now"\n\n"a","b\nc"\n1,"open\n')
    found = first_records(source, look_at_csv("a.csv", source), 9)
    assert [record.fields for record in found] == [['Calls 12" "now"'], None, ["a", "b\nc"], None]
    assert [record.reason for record in found] == ["", "empty line", "", "quote_not_closed"]


# a quote that swallows the records behind it


@pytest.mark.parametrize(
    "behind",
    [
        'V2,2024-06-02,blade 12"',  # the next quote ends the line
        'V21,2023-12-31,2"\nV3,2024-06-03,x',
        'V2,2024-06-02,x\nV3,2024-06-03,y\nV4,2024-06-04,12"',
    ],
)
def test_an_open_quote_whose_next_quote_ends_a_field_costs_one_record(tmp_path, behind):
    rows, aside = repaired(tmp_path, f"a,b,c\nV1,2024-06-01,\"won't start\n{behind}\n")
    assert aside == [(2, "quote_not_closed")]
    assert [",".join(row[1:]) for row in rows] == behind.split("\n")


def test_an_open_quote_in_the_middle_of_a_line_costs_one_record(tmp_path):
    rows, aside = repaired(tmp_path, 'a,b,c,d\n1,U1,"open,ok\n2,U2,x",ok\n3,U3,y,ok\n', 4)
    assert aside == [(2, "quote_not_closed")]
    assert rows == [["3", "2", "U2", 'x"', "ok"], ["4", "3", "U3", "y", "ok"]]


def test_records_swallowed_into_one_of_another_width_come_out_too(tmp_path):
    rows, aside = repaired(tmp_path, 'a,b,c\nV1,U1,"open\nV2,U2,x",\nV3,U3,z\n')
    assert aside == [(2, "quote_not_closed")]
    assert rows[0][1:] == ["V2", "U2", 'x"']


@pytest.mark.parametrize(
    ("record", "fields"),
    [
        ('V1,2024-06-01,"hums\nreplaced, tested"', ["V1", "2024-06-01", "hums\nreplaced, tested"]),
        # as many commas as a record has, but it doesn't begin like one
        ('V1,2024-06-01,"hums\nno, not yet, later"', ["V1", "2024-06-01", "hums\nno, not yet, later"]),
        # begins like a record but has other commas
        ('V1,2024-06-01,"hums\nV2 was looked at too, ok"', ["V1", "2024-06-01", "hums\nV2 was looked at too, ok"]),
        ('V1,"a, b\nc",3', ["V1", "a, b\nc", "3"]),
        # keys without digits tell nothing
        ('oak,"came, saw\nthen, ok",x', ["oak", "came, saw\nthen, ok", "x"]),
        ('V1,2024-06-01,"one line like a record\nV2,2024-06-02,x\nbut not the others\nnor this"',
         ["V1", "2024-06-01", "one line like a record\nV2,2024-06-02,x\nbut not the others\nnor this"]),
    ],
)  # fmt: skip
def test_a_quoted_note_over_several_lines_stays_one_record(tmp_path, record, fields):
    rows, aside = repaired(tmp_path, f"a,b,c\nV0,2024-05-31,x\n{record}\nV9,2024-06-09,y\n")
    assert aside == []
    assert rows[1] == ["3", *fields]
    assert rows[2][0] == "4"


def test_with_two_columns_a_note_of_lines_like_records_stays_whole(tmp_path):
    rows, aside = repaired(tmp_path, 'a,b\n1,"two caps\n2, not one"\n', 2)
    assert (rows, aside) == ([["2", "1", "two caps\n2, not one"]], [])


def test_many_open_quotes_cost_one_record_each(tmp_path):
    lines = [f'V{i},2024-06-01,"open {i}\n' if i % 3 == 0 else f"V{i},2024-06-01,ok\n" for i in range(900)]
    rows, aside = repaired(tmp_path, "a,b,c\n" + "".join(lines))
    assert (len(rows), len(aside)) == (600, 300)
    assert {reason for _, reason in aside} == {"quote_not_closed"}


def test_a_record_longer_than_the_reader_takes_is_set_aside(tmp_path, monkeypatch):
    monkeypatch.setattr(csv_repair, "LONGEST_LINE", 1000)
    content = f"a,b,c\n1,{'x' * 900},3\n2,{'x' * 999},3\n3,y,z\n"
    rows, aside = repaired(tmp_path, content)
    assert [row[1] for row in rows] == ["1", "3"]
    assert aside == [(3, "line_too_long")]


# whatever the text


@settings(max_examples=200, derandomize=True, deadline=None, database=None)
@given(st.lists(st.text(alphabet='aV1,"\n é', max_size=12), max_size=12))
def test_every_line_belongs_to_exactly_one_record(lines):
    text = "a,b,c\n" + "\n".join(lines)
    with tempfile.TemporaryDirectory() as folder:
        source = Path(folder) / "a.csv"
        source.write_text(text, encoding="utf-8", newline="")
        facts = CsvFacts(encoding="utf-8", delimiter=",", n_bytes=len(text))
        found = repair(source, facts, 3, Path(folder) / "b.csv")
        with (Path(folder) / "b.csv").open(encoding="utf-8", newline="") as stream:
            written = {int(row[0]): row[1:] for row in csv.reader(stream)}
    texts = {aside.record: aside.text for aside in found.set_aside}
    assert sorted([*texts, *written]) == list(range(2, found.n_records + 2))
    # put together again, records give the file's lines; written ones may have lost empty fields at their end
    n_lines = sum(text.count("\n") + 1 for text in texts.values())
    n_lines += sum(sum(cell.count("\n") for cell in cells) + 1 for cells in written.values())
    assert n_lines == len(list(io.StringIO(text, newline=None))) - 1


@settings(max_examples=200, derandomize=True, deadline=None, database=None)
@given(st.lists(st.text(alphabet='aV1,"\n\té;', max_size=8), min_size=1, max_size=6))
def test_what_a_writer_quotes_is_split_into_the_same_fields(fields):
    stream = io.StringIO()
    csv.writer(stream, quoting=csv.QUOTE_ALL, lineterminator="").writerow(fields)
    assert split_record(stream.getvalue(), ",", len(fields)) == (fields, "")
    assert split_record(stream.getvalue(), ",", None) == (fields, "")

import csv

import pytest

from fleet.ingest.csv_bytes import look_at_csv
from fleet.ingest.csv_repair import MOST_LINES, repair


def repaired(tmp_path, content, n_fields=3):
    source = tmp_path / "a.csv"
    source.write_bytes(content if isinstance(content, bytes) else content.encode())
    found = repair(source, look_at_csv("a.csv", source), n_fields, tmp_path / "b.csv")
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

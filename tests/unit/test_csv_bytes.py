import gzip
import tempfile
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.errors import SourceError
from fleet.ingest import csv_bytes
from fleet.ingest.csv_bytes import CHUNK, HEAD, count_records, hash_file, look_at_csv, scratch_file


def facts_of(path, content):
    path.write_bytes(content)
    return look_at_csv(path.name, path)


def count_of(path, content):
    return count_records(path.name, path, facts_of(path, content).encoding)


@pytest.mark.parametrize(
    ("content", "encoding"),
    [
        (b"a,b\n1,2\n", "utf-8"),
        (b"\xef\xbb\xbfa,b\n1,2\n", "utf-8"),
        ("a,µ\n".encode(), "utf-8"),
        ("a,µ\n".encode("cp1252"), "cp1252"),
        ("a,b\n1,2\n".encode("utf-16"), "utf-16"),
        ("a,b\n1,2\n".encode("utf-16-le"), "utf-16-le"),
        ("a,b\n1,2\n".encode("utf-16-be"), "utf-16-be"),
    ],
)
def test_encodings(tmp_path, content, encoding):
    found = facts_of(tmp_path / "a.csv", content)
    assert (found.encoding, found.delimiter) == (encoding, ",")


def test_a_character_cut_by_the_end_of_the_look_is_no_other_encoding(tmp_path):
    head = b"a\n" + b"x" * (2**18 - 3) + "µµ".encode()
    assert facts_of(tmp_path / "a.csv", head).encoding == "utf-8"


@pytest.mark.parametrize(
    ("content", "delimiter"),
    [
        ("a;b;c\n1\n", ";"),
        ("a\tb\n1\n", "\t"),
        ("a,b;c,d\n1\n", ","),
        ("a\n1\n", ","),
        ("a|b|c\n1|2|3\n", "|"),
        ('"Unit, tag";"Reported, at"\nU1;2024-06-01\n', ";"),  # commas inside quoted headers
        ("lat;lon;note\n1,5;2,5;3,5\n2,5;3,5;4,5\n", ";"),  # decimal commas in every cell
        ("Cooling calls, summer, 2024\n\nunit;date;note\nU1;2024-06-01;a\nU2;2024-06-02;b\n", ";"),
        ("Calls; by unit\nunit,date,note\nU1,2024-06-01,a; b\nU2,2024-06-02,c\n", ","),
        ("unit,date,note\n" + "U1,2024-06-01,a; b\n" * 30, ","),  # a semicolon in every note
        ('unit,date,note\nU1,2024-06-01,"a\nb; c"\nU2,2024-06-02,"open\nU3,2024-06-03,d\n', ","),
        ("sep=;\na,b;c\n1,2;3\n", ";"),
        ('"SEP=|"\na,b|c\n', "|"),
        ("sep=\t\na,b\tc\n", "\t"),
    ],
)
def test_delimiters(tmp_path, content, delimiter):
    assert facts_of(tmp_path / "a.csv", content.encode()).delimiter == delimiter


def test_a_record_cut_off_by_the_end_of_the_look_plays_no_part_in_the_delimiter(tmp_path):
    long_note = "x" * (HEAD // 2)
    content = f'a;b\n1;{long_note}\n2;"{long_note}, '
    assert facts_of(tmp_path / "a.csv", content.encode() + b"c, d" * 9).delimiter == ";"


@pytest.mark.parametrize(
    ("content", "records", "regular"),
    [
        (b"a,b\n1,2\n3,4\n", 3, True),
        (b"a,b\n1,2\n3,4", 3, True),  # no line end at the end
        (b"a,b\r\n1,2\r\n", 2, True),
        (b'a,b\n1,"x\ny ""z"""\n3,4\n', 3, True),  # a note over two lines is one record
        (b"a,b\n1,2\r\n3,4\n", 3, False),  # mixed line ends
        (b"a,b\r1,2\r3,4\n", 1, False),
        (b"a,b\n\n1,2\n", 3, False),  # an empty line
        (b"a,b\r\n\r\n1,2\r\n", 3, False),
        (b"a,b\n1,\x002\n", 2, False),
        (b'a,b\n1,"open\n3,4\n', 2, False),
    ],
)
def test_records_are_counted_over_the_bytes(tmp_path, content, records, regular):
    found = count_of(tmp_path / "a.csv", content)
    assert (found.records, found.regular) == (records, regular)


@pytest.mark.parametrize(
    ("content", "regular"),
    [
        (b'1,2,"open\n3,4,5"\n', False),  # a record swallowed by an open quote, the count being none the wiser
        (b'1,2,"open\n3,4,5\n6,7,8\n9,0,12"\n', False),
        (b'1,2,"a note\nover two lines"\n', True),
        (b'1,2,"a note\nwith, a comma"\n', True),
        (b'1,"a\nb",3\n4,"c,d\ne",5\n', True),
        (b'1,2,"a note, with\nso, many, commas"\n', False),  # nothing is lost by a second look
    ],
)
def test_lines_inside_quotes_that_look_like_records_are_irregular(tmp_path, content, regular):
    for chunk_size in (CHUNK, 1, 7):
        path = tmp_path / "a.csv"
        path.write_bytes(b"a,b,c\n" + content)
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(csv_bytes, "CHUNK", chunk_size)
            assert count_records("a.csv", path, "utf-8", n_fields=3).regular == regular
            assert count_records("a.csv", path, "utf-8", n_fields=3, delimiter=";").regular
            assert count_records("a.csv", path, "utf-8", n_fields=2).regular


@settings(max_examples=200, derandomize=True, deadline=None, database=None)
@given(st.lists(st.sampled_from([b"a", b",", b'"', b"\n", b"\r\n", b"1,2,3\n", b'"x\ny"', b"\x00"]), max_size=30))
def test_the_size_of_the_chunks_changes_nothing(pieces):
    with tempfile.TemporaryDirectory() as folder, pytest.MonkeyPatch.context() as patch:
        path = Path(folder) / "a.csv"
        path.write_bytes(b"a,b,c\n" + b"".join(pieces))
        whole = count_records("a.csv", path, "utf-8", n_fields=3)
        for size in (1, 2, 5, 11):
            patch.setattr(csv_bytes, "CHUNK", size)
            assert count_records("a.csv", path, "utf-8", n_fields=3) == whole


def test_a_quote_stays_open_over_the_border_of_two_chunks(tmp_path):
    long_note = b'a\n"' + b"x\n" * CHUNK + b'"\n2\n'
    assert count_of(tmp_path / "a.csv", long_note).records == 3


@pytest.mark.parametrize("name", ["a.csv.gz", "a.csv"])
def test_gzip_is_known_by_its_content(tmp_path, name):
    (tmp_path / name).write_bytes(gzip.compress(b"a\n1\n2\n"))
    assert count_records(name, tmp_path / name, "utf-8").records == 3
    assert look_at_csv(name, tmp_path / name).gzipped


def test_a_plain_file_with_the_ending_of_gzip_is_read_as_it_is(tmp_path):
    assert not facts_of(tmp_path / "a.csv.gz", b"a\n1\n").gzipped


def test_the_name_inside_a_gzip_file_is_no_path(tmp_path):
    inner = tmp_path / "out.csv"
    with (tmp_path / "a.csv.gz").open("wb") as stream, gzip.GzipFile(str(inner), "wb", fileobj=stream) as packed:
        packed.write(b"a\n1\n")
    assert b"out.csv" in (tmp_path / "a.csv.gz").read_bytes()
    assert count_records("a.csv.gz", tmp_path / "a.csv.gz", "utf-8").records == 2
    assert not inner.exists()


@pytest.mark.parametrize("cut", [-20, 12])
def test_a_broken_gzip_file_is_refused(tmp_path, cut):
    with pytest.raises(SourceError, match=r"a\.csv\.gz can't be read"):
        facts_of(tmp_path / "a.csv.gz", gzip.compress(b"a\n1\n" * 99)[:cut])


@pytest.mark.parametrize("content", [b"", b"\n\n", b"  \r\n \n", "\n".encode("utf-16")])
def test_an_empty_file_is_refused(tmp_path, content):
    with pytest.raises(SourceError, match=r"a\.csv is empty; one of its first lines must name the columns"):
        facts_of(tmp_path / "a.csv", content)


def test_a_file_that_begins_with_an_empty_line_is_looked_at(tmp_path):
    assert facts_of(tmp_path / "a.csv", b"\n\na;b\n1;2\n").delimiter == ";"


def test_scratch_files_never_meet(tmp_path):
    names = {scratch_file(tmp_path / "new", ".csv") for _ in range(3)}
    assert len(names) == 3
    assert {name.suffix for name in names} == {".csv"}


def test_the_hash_is_sha256(tmp_path):
    (tmp_path / "a").write_bytes(b"abc")
    # FIPS 180-4, the example of one block
    assert hash_file(tmp_path / "a") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"

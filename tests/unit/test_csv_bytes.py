import gzip

import pytest

from fleet.errors import SourceError
from fleet.ingest.csv_bytes import CHUNK, count_records, hash_file, look_at_csv


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
    assert found.encoding == encoding
    assert found.header[0] == "a"


def test_a_character_cut_by_the_end_of_the_look_is_no_other_encoding(tmp_path):
    head = b"a\n" + b"x" * (2**18 - 3) + "µµ".encode()
    assert facts_of(tmp_path / "a.csv", head).encoding == "utf-8"


@pytest.mark.parametrize(("header", "delimiter"), [("a;b;c", ";"), ("a\tb", "\t"), ("a,b;c,d", ","), ("a", ",")])
def test_delimiters(tmp_path, header, delimiter):
    assert facts_of(tmp_path / "a.csv", header.encode() + b"\n1\n").delimiter == delimiter


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


def test_a_quote_stays_open_over_the_border_of_two_chunks(tmp_path):
    long_note = b'a\n"' + b"x\n" * CHUNK + b'"\n2\n'
    assert count_of(tmp_path / "a.csv", long_note).records == 3


def test_gzip_is_unpacked(tmp_path):
    assert count_of(tmp_path / "a.csv.gz", gzip.compress(b"a\n1\n2\n")).records == 3


def test_a_broken_gzip_file_is_refused(tmp_path):
    with pytest.raises(SourceError, match=r"a\.csv\.gz can't be read"):
        facts_of(tmp_path / "a.csv.gz", gzip.compress(b"a\n1\n" * 99)[:-20])


@pytest.mark.parametrize("content", [b"", b"\n1,2\n", b"  \r\n1\n"])
def test_an_empty_header_is_refused(tmp_path, content):
    with pytest.raises(SourceError, match="is empty or begins with an empty line"):
        facts_of(tmp_path / "a.csv", content)


def test_the_hash_is_sha256(tmp_path):
    (tmp_path / "a").write_bytes(b"abc")
    # FIPS 180-4, the example of one block
    assert hash_file(tmp_path / "a") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"

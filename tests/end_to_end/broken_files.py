"""Ways a log file can be broken, odd or hostile, each made on the spot: name -> (file name, bytes)."""

from __future__ import annotations

import gzip
import io
import sqlite3
import tempfile
import zipfile
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import xlsxwriter

HEADER = "visit_id,equipment_id,reported_at,labor_cost,notes"
ROWS = [f"V{i},U{i % 4},2024-06-{i % 28 + 1:02},{i}.50,note {i}" for i in range(1, 41)]
GOOD = "\n".join([HEADER, *ROWS]) + "\n"


def with_row(at: int, text: str) -> bytes:
    """Return the good file with one more line."""
    lines = [HEADER, *ROWS[:at], text, *ROWS[at:]]
    return ("\n".join(lines) + "\n").encode()


def workbook(fill: Callable[[xlsxwriter.Workbook], None], **options: object) -> bytes:
    """Return a workbook's bytes."""
    stream = io.BytesIO()
    with xlsxwriter.Workbook(stream, {"in_memory": True, **options}) as book:
        fill(book)
    return stream.getvalue()


def good_sheet(book: xlsxwriter.Workbook, name: str = "visits", top: int = 0) -> None:
    """Write the good visits to a sheet."""
    sheet = book.add_worksheet(name)
    for i, line in enumerate([HEADER, *ROWS]):
        for j, cell in enumerate(line.split(",")):
            sheet.write_string(top + i, j, cell)


def sqlite(*statements: str, page: bytes = b"", at: int = 0) -> bytes:
    """Return a SQLite file's bytes, some of them overwritten."""
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "x.sqlite"
        with closing(sqlite3.connect(file)) as writer:
            for statement in statements:
                writer.execute(statement)
            writer.commit()
        whole = bytearray(file.read_bytes())
    if page:
        whole[at : at + len(page)] = page
    return bytes(whole)


VISITS = "create table visits (visit_id, equipment_id, reported_at, notes)"
MANY = (
    "with recursive n(i) as (select 1 union all select i + 1 from n where i < 3000) "
    "insert into visits select 'V' || i, 'U1', '2024-06-01', 'a note of some length ' || i from n"
)


def zipped(**members: bytes) -> bytes:
    """Return a zip archive whose members' names may be tricks."""
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as archive:
        for name, content in members.items():
            archive.writestr(name.replace("__", "../"), content)
    return stream.getvalue()


def formulas(book: xlsxwriter.Workbook) -> None:
    """Write visits whose notes are formulas."""
    good_sheet(book)
    book.worksheets()[0].write_formula(1, 4, "=1+1", None, 2)
    book.worksheets()[0].write_formula(2, 4, '=HYPERLINK("x")', None, "x")


def _kinds() -> dict[str, tuple[str, bytes]]:
    good = GOOD.encode()
    quoted = GOOD.replace("note 7", '"note, 7\nand ""more"""')
    xlsx = workbook(good_sheet)
    csv: dict[str, bytes] = {
        "good": good,
        "empty": b"",
        "header only": (HEADER + "\n").encode(),
        "header without a line end": HEADER.encode(),
        "no line end at the end": good.rstrip(b"\n"),
        "truncated in a row": good[:-9],
        "truncated in a quote": quoted.encode()[: quoted.index("and")],
        "quote opened in the middle": with_row(20, 'W1,U1,2024-06-01,1,"open'),
        "quote opened in the middle, quoted rows behind": with_row(20, 'W1,U1,2024-06-01,1,"open').replace(
            b"note 3", b'"note 3"'
        ),
        "quote opened on the last line": with_row(40, 'W1,U1,2024-06-01,1,"open'),
        "quote opened in the header": (HEADER.replace("notes", '"notes') + "\n" + "\n".join(ROWS)).encode(),
        "nested quotes": with_row(5, 'W1,U1,2024-06-01,1,"he said "it hums" twice"'),
        "quotes doubled": with_row(5, 'W1,U1,2024-06-01,1,"he said ""it hums"" twice"'),
        "inch marks": with_row(5, 'W1,U1,2024-06-01,1,3/4" pipe'),
        "backslash quotes": with_row(5, 'W1,U1,2024-06-01,1,"a \\" b"'),
        "newlines in a note": quoted.encode(),
        "300 lines in a note": with_row(5, 'W1,U1,2024-06-01,1,"' + "x\n" * 300 + '"'),
        "NUL in a cell": with_row(5, "W1,U1,2024-06-01,1,a\x00b"),
        "NULs for a page": good + b"\x00" * 4096,
        "NUL in the header": good.replace(b"notes", b"no\x00tes", 1),
        "binary": bytes(range(256)) * 40,
        "binary after the header": (HEADER + "\n").encode() + bytes(range(256)) * 40,
        "a picture": b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 8,
        "a PDF": b"%PDF-1.7\n" + good,
        "a web page": b"<!DOCTYPE html><html><body><table><tr><td>V1</td></tr></table></body></html>",
        "JSON": b'[{"visit_id": "V1", "equipment_id": "U1", "reported_at": "2024-06-01"}]',
        "a 3 MB line": with_row(5, "W1,U1,2024-06-01,1," + "x" * 3_000_000),
        "a 20 MB line": with_row(5, "W1,U1,2024-06-01,1," + "x" * 20_000_000),
        "10,000 columns": b"visit_id,equipment_id,reported_at," + ",".join(f"c{i}" for i in range(9_997)).encode()
        + b"\nV1,U1,2024-06-01" + b"," * 9_997 + b"\n",
        "too few fields": with_row(5, "W1,U1"),
        "too many fields": with_row(5, "W1,U1,2024-06-01,1,a,b,c"),
        "commas at the end of every row": "\n".join([HEADER, *(row + ",,," for row in ROWS)]).encode(),
        "blank lines": good.replace(b"\n", b"\n\n"),
        "lines of commas": with_row(5, ",,,,"),
        "carriage returns alone": good.replace(b"\n", b"\r"),
        "line ends mixed": good.replace(b"\n", b"\r\n", 9).replace(b"V20", b"V20", 1) + b"W1,U1,2024-06-01,1,x\r",
        "a carriage return in a note": with_row(5, 'W1,U1,2024-06-01,1,"a\rb"'),
        "UTF-8 mark": b"\xef\xbb\xbf" + good,
        "UTF-8 mark twice": b"\xef\xbb\xbf\xef\xbb\xbf" + good,
        "UTF-16": GOOD.encode("utf-16"),
        "UTF-16 without a mark": GOOD.encode("utf-16-le"),
        "UTF-16 cut in a character": GOOD.encode("utf-16")[:-1],
        "UTF-32": GOOD.encode("utf-32"),
        "Latin-1": with_row(5, "W1,U1,2024-06-01,1,café").decode().encode("latin-1"),
        "CP1252": with_row(5, "W1,U1,2024-06-01,1,“45 µF”").decode().encode("cp1252"),
        "UTF-8 with one bad byte": with_row(5, "W1,U1,2024-06-01,1,x").replace(b"note 9", b"note \xff9"),
        "half a UTF-8 character at the end": good[:-1] + b"\xc3",
        "emoji and right-to-left": with_row(5, "W1,U1,2024-06-01,1,\u202e🔥 מזגן"),
        "semicolons": GOOD.replace(",", ";").encode(),
        "tabs": GOOD.replace(",", "\t").encode(),
        "pipes": GOOD.replace(",", "|").encode(),
        "semicolons with decimal commas": "\n".join([HEADER, *ROWS]).replace(",", ";").replace(".50", ",50").encode(),
        "sep line": ("sep=;\n" + GOOD.replace(",", ";")).encode(),
        "title lines above": b"Cooling calls\n\nprinted in June\n" + good,
        "header twice": (HEADER + "\n").encode() + good,
        "header again in the middle": with_row(20, HEADER),
        "totals at the foot": with_row(40, "Total,,,820.00,"),
        "two headers of one name": good.replace(b"notes", b"visit_id", 1),
        "a header without names": good.replace(HEADER.encode(), b",,,,"),
        "no needed column": good.replace(b"equipment_id", b"shoe size", 1),
        "formulas in cells": with_row(5, 'W1,U1,2024-06-01,1,"=cmd|\'/c calc\'!A1"'),
        "a formula as a tag": with_row(5, 'W1,"=HYPERLINK(""x"")",2024-06-01,1,x'),
        "SQL in cells": with_row(5, "W1,'; drop table visits; --,2024-06-01,1,x"),
        "impossible dates": with_row(5, "W1,U1,2024-02-30,1,x"),
        "dates that speak for both orders": b"unit,date\nU1,25/06/2024\nU1,06/25/2024\n",
        "dates nothing settles": b"unit,date\nU1,03/04/2024\n",
        "numbers beyond all bounds": with_row(5, "W1,U1,2024-06-01,1e400,x"),
        "not a number": with_row(5, "W1,U1,2024-06-01,NaN,x"),
        "the same row a thousand times": (HEADER + "\n" + (ROWS[0] + "\n") * 1000).encode(),
        "one id for every row": "\n".join([HEADER, *("V1" + row[row.index(",") :] for row in ROWS)]).encode(),
        "only quotes": b'"' * 1001,
        "only commas": b"," * 1000 + b"\n" + b"," * 1000,
        "only line ends": b"\n" * 1000,
        "spaces everywhere": GOOD.replace(",", " , ").encode(),
    }  # fmt: skip
    other = {
        "gzip": ("visits.csv.gz", gzip.compress(good)),
        "gzip cut off": ("visits.csv.gz", gzip.compress(good)[:-20]),
        "gzip of nothing": ("visits.csv.gz", gzip.compress(b"")),
        "not gzip": ("visits.csv.gz", good),
        "gzip with a bad sum": ("visits.csv.gz", gzip.compress(good)[:-8] + b"\x00" * 8),
        "gzip named plain": ("visits.csv", gzip.compress(good)),
        "gzip of gzip": ("visits.csv.gz", gzip.compress(gzip.compress(good))),
        "workbook": ("log.xlsx", xlsx),
        "workbook cut off": ("log.xlsx", xlsx[:-300]),
        "workbook with formulas": ("log.xlsx", workbook(formulas)),
        "workbook with an empty sheet": ("log.xlsx", workbook(lambda b: (b.add_worksheet("empty"), good_sheet(b)))),
        "workbook with titles above": ("log.xlsx", workbook(lambda b: good_sheet(b, top=3))),
        "workbook without a log": ("log.xlsx", workbook(lambda b: b.add_worksheet("sums").write(0, 0, "x"))),
        "workbook named csv": ("visits.csv", xlsx),
        "zip named workbook": ("log.xlsx", zipped(a=b"b")),
        "zip with path tricks": ("log.xlsx", zipped(**{"____etc/passwd": b"x", "xl/workbook.xml": b"<x/>"})),
        "zip of a log": ("log.zip", zipped(**{"visits.csv": good})),
        "old workbook": ("log.xls", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\x00" * 2000),
        "sqlite": ("log.sqlite", sqlite(VISITS, MANY)),
        "sqlite cut off": ("log.sqlite", sqlite(VISITS, MANY)[:9000]),
        "sqlite with a corrupt page": ("log.sqlite", sqlite(VISITS, MANY, page=b"\xff" * 4096, at=8 * 4096)),
        "sqlite with a corrupt header": ("log.sqlite", sqlite(VISITS, MANY, page=b"\xff" * 60, at=30)),
        "sqlite without tables": ("log.sqlite", sqlite("create table x (a)", "drop table x")),
        "sqlite with an empty table": ("log.sqlite", sqlite(VISITS)),
        "sqlite with a view": ("log.sqlite", sqlite(
            "create table t (a, b, c)", "insert into t values (1, 'U1', '2024-06-01')",
            "create view visits as select a as visit_id, b as equipment_id, c as reported_at from t")),
        "sqlite with a broken view": ("log.sqlite", sqlite(
            "create table t (a)", "create view visits as select a as visit_id from t", "drop table t")),
        "sqlite with odd types": ("log.sqlite", sqlite(
            VISITS, "insert into visits values (1, 2.5, 2460463.5, x'ff00fe'), (null, 'U1', '2024-06-01', 9e999), "
            "('V3', x'5531', '2024-06-02', 'a' || char(0) || 'b')")),
        "sqlite with bad text": ("log.sqlite", sqlite(
            VISITS, "insert into visits values ('V1', 'U1', '2024-06-01', cast(x'ff41' as text))")),
        "sqlite with odd names": ("log.sqlite", sqlite(
            'create table "visits ""2024""" ("visit_id", "equipment_id", "reported_at", "select", "a b", "")',
            "insert into \"visits \"\"2024\"\"\" values ('V1', 'U1', '2024-06-01', 1, 2, 3)")),
        "not sqlite": ("log.sqlite", good),
        "sqlite named csv": ("visits.csv", sqlite(VISITS, MANY)),
        "an unknown ending": ("visits.parquet", b"PAR1" + good),
    }  # fmt: skip
    return {name: ("visits.csv", content) for name, content in csv.items()} | other


KINDS = _kinds()

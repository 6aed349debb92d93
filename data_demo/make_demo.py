"""Make the demo log: ``python data_demo/make_demo.py [--out DIR] [--sqlite FILE]``.

Writes the CSV files of an invented company's service log, the answer key (answer_key.json) and README.md.
The same seed always writes the same bytes.
"""

from __future__ import annotations

import argparse
import csv
import io
import json
import sqlite3
import sys
from pathlib import Path

from demo_dirty import SoiledFiles
from demo_files import Files
from demo_key import answer_key
from demo_readme import readme
from demo_story import COLUMNS, tell_story

HERE = Path(__file__).resolve().parent


def csv_text(table: str, lines: list[list[str]]) -> str:
    """Return one file's text: header, then every record, quoted where needed."""
    buffer = io.StringIO()
    writer = csv.writer(buffer, lineterminator="\n")
    writer.writerow(COLUMNS[table])
    writer.writerows(lines)
    return buffer.getvalue()


def write_csv(files: Files, out: Path) -> list[Path]:
    """Write every CSV file of the log into a folder."""
    out.mkdir(parents=True, exist_ok=True)
    written = []
    for name, records in files.files.items():
        path = out / name
        path.write_text(csv_text(records[0].table, [r.line() for r in records]), encoding="utf-8", newline="\n")
        written.append(path)
    return written


def write_sqlite(files: Files, path: Path) -> None:
    """Write the same log as one SQLite file: the contract's tables, every cell the text it is in the CSV."""
    path.unlink(missing_ok=True)
    with sqlite3.connect(path) as base:
        for table, columns in COLUMNS.items():
            names = ", ".join(f'"{c}" TEXT' for c in columns)
            base.execute(f'CREATE TABLE "{table}" ({names})')
        for name in sorted(files.files):
            records = files.files[name]
            columns = COLUMNS[records[0].table]
            marks = ", ".join("?" for _ in columns)
            rows = [r.line() or [""] * len(columns) for r in records]
            base.executemany(f'INSERT INTO "{records[0].table}" VALUES ({marks})', rows)  # noqa: S608 (own table names)
    base.close()


def main(argv: list[str] | None = None) -> int:
    """Make the demo log and say what was written."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--out", type=Path, help="folder for the CSV files (default: the folder of this script)")
    parser.add_argument("--sqlite", type=Path, help="write the log as one SQLite file instead")
    args = parser.parse_args(argv)
    story = tell_story()
    files = SoiledFiles(story)
    files.soil()
    if args.sqlite is not None:
        write_sqlite(files, args.sqlite)
        print(f"{args.sqlite}: {args.sqlite.stat().st_size:,} bytes")
    if args.sqlite is None or args.out is not None:
        out = args.out or HERE
        written = write_csv(files, out)
        key = answer_key(story, files)
        (out / "answer_key.json").write_text(json.dumps(key, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
        (out / "README.md").write_text(readme(key), encoding="utf-8")
        print(f"{out}: {len(written)} files, {sum(p.stat().st_size for p in written):,} bytes")
    return 0


if __name__ == "__main__":
    sys.exit(main())

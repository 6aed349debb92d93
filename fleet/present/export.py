"""Write an answer for a machine or a spreadsheet: exact CSV and JSON, every column, nothing rounded."""

from __future__ import annotations

import csv
import datetime as dt
import json
from decimal import Decimal

import pandas as pd

from fleet.answer import Answer
from fleet.ingest.guard import guard
from fleet.present.numbers import is_blank


class _Lines:
    """Takes what a CSV writer writes, one record at a time."""

    def __init__(self) -> None:
        self.written: list[str] = []

    def write(self, line: str) -> None:
        self.written.append(line)


def as_csv(table: Answer | pd.DataFrame) -> str:
    """Write a table as CSV: one header line, dates ISO, blanks empty, numbers in full.

    Parameters
    ----------
    table : Answer or DataFrame

    Notes
    -----
    Text that a spreadsheet would run as a formula gets an apostrophe in front; numbers stay numbers.
    """
    frame = table.table if isinstance(table, Answer) else table
    lines = _Lines()
    # a carriage return inside a cell is quoted only where it is part of the writer's line end
    writer = csv.writer(lines, lineterminator="\r\n")
    writer.writerow([guard(str(name)) for name in frame.columns])
    columns = [frame[name].tolist() for name in frame.columns]
    writer.writerows([_cell(value) for value in row] for row in zip(*columns, strict=True))
    return "".join(line.removesuffix("\r\n") + "\n" for line in lines.written)


def as_json(table: Answer | pd.DataFrame) -> str:
    """Write a whole answer (or a bare table's rows) as JSON; an answer comes back by `Answer.from_dict`."""
    if isinstance(table, Answer):
        return json.dumps(table.to_dict(), indent=2, ensure_ascii=False) + "\n"
    rows = [
        {str(name): _json_value(value) for name, value in zip(table.columns, row, strict=True)}
        for row in table.itertuples(index=False, name=None)
    ]
    return json.dumps(rows, indent=2, ensure_ascii=False) + "\n"


def _cell(value: object) -> object:
    if is_blank(value):
        return ""
    if isinstance(value, str):
        return guard(value)
    if isinstance(value, (dt.datetime, pd.Timestamp)):
        return value.date().isoformat() if value.time() == dt.time(0) else value.isoformat(sep=" ")
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return int(value)
    return value


def _json_value(value: object) -> object:
    if is_blank(value):
        return None
    if isinstance(value, (str, bool, int, float)):
        return value
    if isinstance(value, Decimal):
        return float(value)
    if isinstance(value, (dt.date, dt.datetime)):
        return str(_cell(value))
    return str(value)

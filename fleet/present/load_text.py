"""The account of a load in plain text, at 80 columns."""

from __future__ import annotations

import json
import re
import textwrap
from collections import Counter
from collections.abc import Iterable, Sequence

from fleet.ingest.possible import CANNOT, Missing
from fleet.ingest.report import LoadReport
from fleet.ingest.rules import words_of

WIDTH = 80

PARTED = re.compile("^(?!where the money went)([^:]+): (.+)$")
"""An answer's name that explains itself behind a colon."""


def load_text(report: LoadReport, store: str, *, command: str = "dogdays") -> str:
    """Return what was read, understood, fixed, refused and why, and what to do next."""
    lines = [_first_sentence(report), ""]
    lines += _account(report)
    for standing, title in (("quarantined", "Refused"), ("duplicate", "Duplicates"), ("blank", "Blank")):
        found = [(table, reason, n) for table, kind, reason, n in report.reasons if kind == standing]
        lines += _listing(title, found)
    lines += _listing("Kept with a change or a flag", [(table, rule, n) for table, rule, n in report.notices])
    lines += _sentences("What was decided while reading", gathered(report.remarks))
    lines += _sentences("What this log can't answer, and the columns that would give it", unanswered(report))
    lines += _sentences("What it answers only in part, and the columns that would help", answered_in_part(report))
    lines += ["", _next_steps(report, store, command)]
    return "\n".join(lines)


MOST_NAMES = 20
"""Files or columns named in one sentence."""
NOT_UNDERSTOOD = re.compile(r"^(?P<file>.+?): the column (?P<what>.+) isn't understood; it stays in the kept source$")
OF_A_FILE = re.compile(r"^(?P<file>.+?): (?P<what>.+)$")


def gathered(remarks: Sequence[str]) -> list[str]:
    """Return remarks with what is said of several columns, or of several files, said once.

    Examples
    --------
    >>> gathered(["a.csv: read as visits", "b.csv: read as visits", "no equipment table came"])
    ['a.csv and b.csv: read as visits', 'no equipment table came']
    """
    columns: dict[str, list[str]] = {}
    for lost in filter(None, map(NOT_UNDERSTOOD.match, remarks)):
        columns.setdefault(lost["file"], []).append(lost["what"])
    files: dict[str, list[str]] = {}
    for remark in remarks:
        found = NOT_UNDERSTOOD.match(remark)
        if found:
            what = _not_understood(columns[found["file"]])
        else:
            found = OF_A_FILE.match(remark)
            what = found["what"] if found else remark
        files.setdefault(what, []).append(found["file"] if found else "")
    said = {what: _listed(list(dict.fromkeys(filter(None, names)))) for what, names in files.items()}
    return [f"{names}: {what}" if names else what for what, names in said.items()]


def _not_understood(columns: Sequence[str]) -> str:
    if len(columns) == 1:
        return f"the column {columns[0]} isn't understood; it stays in the kept source"
    return f"the columns {_listed(columns)} aren't understood; they stay in the kept source"


def unanswered(report: LoadReport) -> list[str]:
    """Return what the log can't answer at all: the columns it lacks, a line for those that go together.

    Notes
    -----
    A line names the columns by their table, then the answers they would give. The columns of a table that didn't come
    go together; so do columns of the others where the same answers need them.
    """
    none = [(one, PARTED.sub(r"\1 (\2)", one.answer)) for one in report.missing if one.instead == CANNOT]
    return _by_columns(report, none)


def answered_in_part(report: LoadReport) -> list[str]:
    """Return what the log answers only in part: the columns it lacks as in `unanswered`, then what holds without."""
    return _by_columns(report, [(one, one.instead) for one in report.missing if one.instead != CANNOT])


def _by_columns(report: LoadReport, found: Sequence[tuple[Missing, str]]) -> list[str]:
    """Return a line for the columns that go together: their names, then what is said of them."""
    came = {account.table for account in report.accounts}
    times = Counter(words for _, words in found)
    columns: dict[tuple[str, ...], dict[str, None]] = {}
    said: dict[tuple[str, ...], dict[str, None]] = {}
    for missing, words in found:
        tables = tuple(dict.fromkeys(_table(name) for name in missing.columns))
        # a table that didn't come is wanted as a whole; what several columns of one would each mend is said once
        alike = (*tables, words) if times[words] > 1 else missing.columns
        key = tables if came.isdisjoint(tables) else alike
        columns.setdefault(key, {}).update(dict.fromkeys(missing.columns))
        said.setdefault(key, {})[words] = None
    order = list(dict.fromkeys(_table(next(iter(names))) for names in columns.values()))
    keys = sorted(columns, key=lambda key: order.index(_table(next(iter(columns[key])))))
    return [f"{_named(columns[key])}: {'; '.join(said[key])}" for key in keys]


def _table(column: str) -> str:
    return column.partition(".")[0]


def _named(columns: Iterable[str]) -> str:
    """Return columns by their table: ``readings (value, meter) and equipment (herm_uf)``."""
    tables: dict[str, list[str]] = {}
    for name in columns:
        tables.setdefault(_table(name), []).append(name.partition(".")[2])
    return _listed([f"{table} ({', '.join(names)})" for table, names in tables.items()])


def _listed(names: Sequence[str]) -> str:
    # fleet.present.numbers has the like, but takes pandas with it, which takes a load a second
    shown = [*names[:MOST_NAMES], f"{len(names) - MOST_NAMES} more"] if len(names) > MOST_NAMES else names
    return " and ".join(filter(None, (", ".join(shown[:-1]), *shown[-1:])))


def _sentences(title: str, said: Sequence[str]) -> list[str]:
    if not said:
        return []
    return ["", f"{title}:", *(textwrap.fill(s, WIDTH, initial_indent="  ", subsequent_indent="    ") for s in said)]


def load_json(report: LoadReport) -> str:
    """Return the whole account as JSON, as `LoadReport.to_dict` gives it."""
    return json.dumps(report.to_dict(), indent=2, ensure_ascii=False) + "\n"


def _first_sentence(report: LoadReport) -> str:
    records, clean = report.total("records"), report.total("clean")
    refused, double, blank = report.n_quarantined, report.total("duplicate"), report.total("blank")
    noun = "record" if records == 1 else "records"
    said = f"{records:,} {noun} in = {clean:,} clean + {refused:,} refused + {double:,} duplicate + {blank:,} blank."
    return said if report.loaded else f"Nothing new: these files are loaded already. {said}"


def _account(report: LoadReport) -> list[str]:
    rows = [
        (a.source, a.table, f"{a.records:,}", f"{a.clean:,}", f"{a.quarantined:,}", f"{a.duplicate:,}", f"{a.blank:,}")
        for a in report.accounts
    ]
    header = ("file", "table", "records", "clean", "refused", "duplicate", "blank")
    widths = [max(len(row[i]) for row in [header, *rows]) for i in range(len(header))]
    widths[0] = min(widths[0], WIDTH - sum(widths[1:]) - 2 * (len(widths) - 1))
    return [
        "  ".join(
            _cut(cell, width).ljust(width) if i < 2 else cell.rjust(width)
            for i, (cell, width) in enumerate(zip(row, widths, strict=True))
        ).rstrip()
        for row in [header, *rows]
    ]


def _cut(text: str, width: int) -> str:
    return text if len(text) <= width else text[: width - 1] + "…"


def _listing(title: str, found: list[tuple[str, str, int]]) -> list[str]:
    if not found:
        return []
    lines = ["", f"{title}:"]
    for table, reason, n in found:
        meaning = f" ({words_of(reason)})" if words_of(reason) else ""
        lines.append(
            textwrap.fill(f"{n:>5} in {table}: {reason}{meaning}", WIDTH, initial_indent=" ", subsequent_indent=" " * 8)
        )
    return lines


def _next_steps(report: LoadReport, store: str, command: str) -> str:
    where = "" if store == ".fleet" else f" --store {store}"
    steps = [f"The stocking list for next summer: {command} stock{where}", f"The dashboard: {command} dashboard{where}"]
    if report.n_quarantined:
        steps.insert(0, f"The refused records, each with its reason: {command} records{where}")
    return "\n".join(steps)

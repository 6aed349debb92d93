"""The account of a load in plain text, at 80 columns."""

from __future__ import annotations

import json
import textwrap

from fleet.ingest.report import LoadReport
from fleet.ingest.rules import words_of

WIDTH = 80


def load_text(report: LoadReport, store: str, *, command: str = "dogdays") -> str:
    """Return what was read, understood, fixed, refused and why, and what to do next."""
    lines = [_first_sentence(report), ""]
    lines += _account(report)
    for standing, title in (("quarantined", "Refused"), ("duplicate", "Duplicates"), ("blank", "Blank")):
        found = [(table, reason, n) for table, kind, reason, n in report.reasons if kind == standing]
        lines += _listing(title, found)
    lines += _listing("Kept with a change or a flag", [(table, rule, n) for table, rule, n in report.notices])
    if report.remarks:
        lines += ["", "Said aloud:"]
        lines += [textwrap.fill(said, WIDTH, initial_indent="  ", subsequent_indent="    ") for said in report.remarks]
    if report.missing:
        lines += ["", "What this log can't answer in full, for want of which column:"]
        lines += [
            textwrap.fill(said, WIDTH, initial_indent="  ", subsequent_indent="    ") for said in missing_said(report)
        ]
    lines += ["", _next_steps(report, store, command)]
    return "\n".join(lines)


def missing_said(report: LoadReport) -> list[str]:
    """Return, a sentence each, what the log can't answer in full, what it lacks for that, and what is given instead."""
    return [f"{one.answer}: wants {', '.join(one.columns)}; {one.instead}" for one in report.missing]


def load_json(report: LoadReport) -> str:
    """Return the whole account as JSON, as `LoadReport.to_dict` gives it."""
    return json.dumps(report.to_dict(), indent=2, ensure_ascii=False) + "\n"


def _first_sentence(report: LoadReport) -> str:
    records, clean = report.total("records"), report.total("clean")
    refused, double, blank = report.n_quarantined, report.total("duplicate"), report.total("blank")
    said = f"{records:,} records in = {clean:,} clean + {refused:,} refused + {double:,} duplicates + {blank:,} blank."
    return said if report.loaded else f"Nothing new: these files are loaded already. {said}"


def _account(report: LoadReport) -> list[str]:
    rows = [
        (a.source, a.table, f"{a.records:,}", f"{a.clean:,}", f"{a.quarantined:,}", f"{a.duplicate:,}", f"{a.blank:,}")
        for a in report.accounts
    ]
    header = ("file", "table", "records", "clean", "refused", "double", "blank")
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
            textwrap.fill(f"{n:>5} {table}: {reason}{meaning}", WIDTH, initial_indent=" ", subsequent_indent=" " * 8)
        )
    return lines


def _next_steps(report: LoadReport, store: str, command: str) -> str:
    where = "" if store == ".fleet" else f" --store {store}"
    steps = [f"The stocking list for next summer: {command} stock{where}", f"The dashboard: {command} dashboard{where}"]
    if report.n_quarantined:
        steps.insert(0, f"The refused records, each with its reason: {command} records{where}")
    return "\n".join(steps)

"""The file of refused records: what it looks like, so that it can be corrected and loaded again.

One line a refused record: why it was refused and where it came from, then its cells under their own headers,
those of all tables side by side. A record that couldn't be split into fields shows its text instead. Cells are guarded
against being run as formulas; the guard comes off when the file is loaded.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from fleet.ingest.guard import guard_cell

BOOKKEEPING = (
    "refused_because",
    "refused_table",
    "refused_from",
    "refused_record",
    "refused_file",
    "refused_text",
)
"""The columns that say where a record belongs; all but the first and the last must stay as they are."""

PLACE = BOOKKEEPING[1:5]


@dataclass(frozen=True, slots=True, kw_only=True)
class RefusedRecord:
    """A refused record: ``cells`` under ``headers`` as the source has them, or its ``text`` where it can't be split."""

    reason: str
    table: str
    source: str
    file_key: str
    record: int
    headers: tuple[str, ...]
    cells: tuple[str, ...] | None
    text: str = ""


def file_key(sha256: str) -> str:
    """Return the short name of a source's content; it begins with letters so that no spreadsheet makes it a number."""
    return f"file-{sha256[:16]}"


def labels(headers: Sequence[str]) -> tuple[str, ...]:
    """Return a header line in which every column has a name of its own.

    Examples
    --------
    >>> labels(["unit", "", "unit"])
    ('unit', 'column 2', 'unit (2)')
    """
    seen: dict[str, int] = {}
    named = []
    for i, header in enumerate(headers):
        label = header.strip() or f"column {i + 1}"
        seen[label] = seen.get(label, 0) + 1
        named.append(label if seen[label] == 1 else f"{label} ({seen[label]})")
    return tuple(named)


def is_refused_file(headers: Iterable[str]) -> bool:
    """Tell whether a file's headers are those of a file of refused records."""
    found = {header.strip().lower() for header in headers}
    return set(PLACE) <= found


def write_refused(records: Sequence[RefusedRecord]) -> str:
    """Return refused records as the text of a CSV file that `fleet.ingest.corrections` reads again."""
    columns = list(dict.fromkeys(label for record in records for label in labels(record.headers)))
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow([*BOOKKEEPING, *(guard_cell(column) for column in columns)])
    for record in records:
        cells = dict(zip(labels(record.headers), record.cells or (), strict=False))
        place = [record.reason, record.table, record.source, str(record.record), record.file_key]
        shown = [guard_cell(cell) for cell in (*place, record.text)]
        writer.writerow([*shown, *(guard_cell(cells.get(column, "")) for column in columns)])
    return text.getvalue()

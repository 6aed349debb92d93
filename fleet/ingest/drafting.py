"""Look over a log and draft the mapping file it would be read with."""

from __future__ import annotations

import tempfile
from pathlib import Path

from fleet.ingest.draft import draft_mapping
from fleet.ingest.guess_file import SeenTable
from fleet.ingest.raw import RawTable, open_tables
from fleet.ingest.sources import discover
from fleet.store.database import Database

SEEN = 400
"""Records of each table a draft is made from."""


def draft_for(log: Path, command: str) -> str:
    """Return the draft of a mapping for the log at ``log`` as the text of a TOML file.

    Parameters
    ----------
    command : str
        What loads the log with the mapping, for the comment at the draft's head.

    Raises
    ------
    SourceError
        If nothing there can be read.
    """
    found = discover(log)
    with tempfile.TemporaryDirectory() as folder, Database.scratch(Path(folder)) as engine:
        tables = [raw for file in found.files for raw in open_tables(file.name, file.path, scratch=Path(folder))]
        return draft_mapping([_seen(engine, raw) for raw in tables], command=command)


def _seen(engine: Database, raw: RawTable) -> SeenTable:
    cells = ", ".join(f"coalesce(c{i}, '')" for i in range(len(raw.headers)))
    raw.run(engine, lambda relation: f"create or replace table seen as select {cells} from {relation} limit {SEEN}")  # noqa: S608
    rows = [list(row) for row in engine.rows("from seen")]
    return SeenTable(
        name=raw.name, headers=raw.headers, rows=rows, n_records=raw.n_records, header_record=raw.header_record
    )

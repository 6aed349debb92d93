"""The records of a load as their files have them: read again from the kept sources, only those asked for."""

from __future__ import annotations

import tempfile
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from fleet.errors import StoreError
from fleet.ingest.opening import Opener, mapping_of
from fleet.ingest.raw import RawTable
from fleet.store.database import Database
from fleet.store.snapshots import LOAD_SCRATCH, LoadEntry, Store

Cells = tuple[str, ...]


def read_originals(
    store: Store, database: Database, wanted: Mapping[int, Sequence[int]]
) -> dict[tuple[int, int], Cells]:
    """Return the cells of some records as their source has them.

    Parameters
    ----------
    database : Database
        The open snapshot of ``store``.
    wanted : mapping of int to sequence of int
        Record numbers, by the source they are counted in.

    Returns
    -------
    dict
        (source, record) -> cells in the order of the source's headers; blank cells are empty texts.

    Raises
    ------
    StoreError
        If a kept source is missing or no longer holds such records.
    """
    found = _came_back(database, wanted)
    left = {source_id: [r for r in numbers if (source_id, r) not in found] for source_id, numbers in wanted.items()}
    left = {source_id: numbers for source_id, numbers in left.items() if numbers}
    if not left:
        return found
    loads = {load.number: load for load in store.manifest().loads}
    places = database.rows("select source_id, load_number, sha256, name, member, repaired from log.landing.source")
    store.spill.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=store.spill, prefix=LOAD_SCRATCH) as folder:
        opener = Opener(store, {}, Path(folder))
        tables: dict[str, list[RawTable]] = {}
        with Database.scratch(Path(folder)) as engine:
            for source_id, number, sha256, name, member, repaired in places:
                if source_id not in left:
                    continue
                if sha256 not in tables:
                    tables[sha256] = _tables(opener, loads[number], sha256)
                raw = next((table for table in tables[sha256] if table.member == member), None)
                if raw is None:
                    msg = f"the kept copy of {name} no longer holds {member}; load the log into a new store"
                    raise StoreError(msg)
                raw = raw.with_repair(opener.scratch) if repaired and not raw.repaired else raw
                for record, cells in _cells(engine, raw, left[source_id]):
                    found[source_id, record] = tuple(cell or "" for cell in cells)
    return found


def _tables(opener: Opener, load: LoadEntry, sha256: str) -> list[RawTable]:
    return opener.tables(next(source for source in load.sources if source.sha256 == sha256), mapping_of(load))


def _came_back(database: Database, wanted: Mapping[int, Sequence[int]]) -> dict[tuple[int, int], Cells]:
    """Return the cells of corrected records: the snapshot keeps them."""
    rows = database.rows("select source_id, record, cells from log.landing.correction where cells is not null")
    asked = {(source_id, record) for source_id, records in wanted.items() for record in records}
    return {(s, r): tuple(cell or "" for cell in cells) for s, r, cells in rows if (s, r) in asked}


def _cells(engine: Database, raw: RawTable, records: Sequence[int]) -> list[tuple[int, list[Any]]]:
    engine.run("create or replace table wanted as select unnest(?::bigint[]) as record", [list(records)])
    cells = ", ".join(f"c{i}" for i in range(len(raw.headers)))
    numbered = f"select coalesce(record, row_number() over () + 1) as record, [{cells}] as cells from"
    asked = "create or replace table original as select * from ({} {}) semi join wanted using (record)"
    raw.run(engine, lambda relation: asked.format(numbered, relation))
    return [(int(record), cells) for record, cells in engine.rows("from original")]

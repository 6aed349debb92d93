"""Corrected records come back: a file of refused records is taken apart and each takes the refused one's place.

The records of such a file land as records of the source they were refused in, with its headers and its order of day
and month, so that a corrected reading rejoins its visit's set and a corrected line its sheet. They are counted in
the file they came back in; the refused record they replace becomes an older version.
"""

from __future__ import annotations

import csv
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from fleet.errors import SourceError
from fleet.ingest.csv_bytes import scratch_file
from fleet.ingest.csv_repair import SetAside, split_record
from fleet.ingest.guard import unguard_cell
from fleet.ingest.landed import Landed
from fleet.ingest.raw import RawTable, numbered_table
from fleet.ingest.refused_file import BOOKKEEPING, labels
from fleet.store.database import Database
from fleet.store.schema import TABLES


@dataclass(frozen=True, slots=True, kw_only=True)
class Corrected:
    """Records of one source that came back: ``raw`` holds them, ``replaces`` says which record each stands for.

    ``origin`` is the source they were refused in, None where this store doesn't know it.
    """

    raw: RawTable
    table: str
    origin: Landed | None
    replaces: Mapping[int, int]


@dataclass(frozen=True, slots=True)
class _Row:
    record: int
    place: Mapping[str, str]
    cells: Mapping[str, str]


def take_apart(
    database: Database, raw: RawTable, origins: Mapping[tuple[str, str], Landed], scratch: Path
) -> list[Corrected]:
    """Take a file of refused records apart, by the source each record came from.

    Parameters
    ----------
    origins : mapping
        Sources that have landed, by (file key, name in reports).

    Raises
    ------
    SourceError
        If a record names no table of a log, or the file's records can't be counted twice with one result.
    """
    rows = _rows(database, raw)
    if len(rows) + len(raw.set_aside) != raw.n_records:
        msg = f"{raw.name}: {raw.n_records} records are in the file but {len(rows) + len(raw.set_aside)} were read"
        raise SourceError(msg)
    groups: dict[tuple[str, str, str], list[_Row]] = {}
    for row in rows:
        key = (row.place["refused_file"], row.place["refused_from"], row.place["refused_table"])
        groups.setdefault(key, []).append(row)
    if not groups:
        msg = f"{raw.name} holds no refused record"
        raise SourceError(msg)
    made: list[Corrected] = []
    for (origin_file, source, table), group in groups.items():
        if table not in TABLES:
            msg = f"{raw.name} record {group[0].record}: {table!r} is no table of a log; leave the column as it was"
            raise SourceError(msg)
        # lines of the file itself that couldn't be split, and empty ones, are counted with its first records
        aside = () if made else raw.set_aside
        origin = origins.get((origin_file, source))
        made.append(_corrected(raw.source, table, source, origin, group, aside=aside, scratch=scratch))
    return made


def _rows(database: Database, raw: RawTable) -> list[_Row]:
    made = "create or replace table memory.main.refused_row as select * from "
    raw.run(database, lambda relation: made + relation)
    names = [unguard_cell(header).strip() for header in raw.headers]
    lowered = [name.lower() for name in names]
    columns = ", ".join(f"c{i}" for i in range(len(names)))
    found = database.rows(
        f"select coalesce(record, row_number() over () + 1), {columns} from memory.main.refused_row"  # noqa: S608
    )
    rows = []
    for record, *cells in found:
        own = {name: unguard_cell(cell or "") for name, cell in zip(names, cells, strict=True)}
        place = {name: own[names[lowered.index(name)]].strip() if name in lowered else "" for name in BOOKKEEPING}
        kept = {name: cell for name, cell in own.items() if name.lower() not in BOOKKEEPING}
        rows.append(_Row(record=int(record), place=place, cells=kept))
    return rows


def _corrected(
    file: str,
    table: str,
    source: str,
    origin: Landed | None,
    group: Sequence[_Row],
    *,
    aside: tuple[SetAside, ...],
    scratch: Path,
) -> Corrected:
    headers = origin.plan.headers if origin else tuple(n for n in group[0].cells if any(r.cells[n] for r in group))
    set_aside, replaces, written = list(aside), {}, 0
    to = scratch_file(scratch, ".csv")
    with to.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.writer(stream, quoting=csv.QUOTE_ALL, lineterminator="\n")
        for row in group:
            cells, reason = _cells_of(row, headers, origin)
            if reason:
                set_aside.append(SetAside(record=row.record, reason=reason, text=row.place["refused_text"]))
            else:
                writer.writerow([row.record, *cells])
                written += 1
            if row.place["refused_record"].isdigit():
                replaces[row.record] = int(row.place["refused_record"])
    again = numbered_table(file, to, member=source, headers=headers, n_written=written, set_aside=tuple(set_aside))
    return Corrected(raw=again, table=table, origin=origin, replaces=replaces)


def _cells_of(row: _Row, headers: Sequence[str], origin: Landed | None) -> tuple[list[str], str]:
    """Return a record's cells in its source's order; a record shown as text only is split again."""
    cells = [row.cells.get(label, "") for label in labels(headers)]
    text = row.place["refused_text"]
    if any(cell.strip() for cell in cells) or not text:
        return cells, ""
    fields, reason = split_record(text, origin.raw.delimiter if origin else ",", len(headers))
    return fields or [], reason


def replace_refused(database: Database) -> None:
    """Let every corrected record take the place of the refused one, which becomes an older version."""
    if not database.value("select count(*) from log.landing.correction"):
        return
    database.run_file("fleet.ingest", "replaced")
    for (name,) in database.rows("select distinct landed_in from memory.main.replaced"):
        database.run(
            f"""
            update log.landing.{name} as l set standing = 'duplicate', reason = 'older_version'
            from memory.main.replaced as r
            where coalesce(l.counted_in, l.source_id) = r.source_id
                and coalesce(l.record, l.rowid - r.first_place + 2) = r.record
            """  # noqa: S608
        )
    database.run(
        "update log.landing.set_aside as a set standing = 'duplicate', reason = 'older_version' "
        "from memory.main.replaced as r where a.source_id = r.source_id and a.record = r.record"
    )


def note_corrections(database: Database, source_id: int, corrected: Corrected) -> None:
    """Keep which record each corrected one replaces, and its cells as they came back."""
    cells = "[" + ", ".join(f"c{i}" for i in range(len(corrected.raw.headers))) + "]"
    pairs = sorted(corrected.replaces.items())
    corrected.raw.run(
        database,
        lambda relation: (
            f"create or replace table memory.main.came_back as select record, {cells} as cells "  # noqa: S608
            f"from {relation}"
        ),
    )
    database.run(
        "insert into log.landing.correction select ?, p.record, ?, p.replaced, b.cells "
        "from (select unnest(?::bigint[]) as record, unnest(?::bigint[]) as replaced) as p "
        "left join memory.main.came_back as b using (record)",
        [
            source_id,
            corrected.origin.source_id if corrected.origin else None,
            [record for record, _ in pairs],
            [replaced for _, replaced in pairs],
        ],
    )

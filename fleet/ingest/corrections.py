"""Corrected records come back: a file of refused records is taken apart and each takes the refused one's place.

The records of such a file land as records of the source they were refused in, with its headers and its order of day
and month, so that a corrected reading rejoins its visit's set and a corrected line its sheet. They are counted in
the file they came back in; the refused record they replace becomes an older version. So does every other record with
the same content, in a later export that still has it: there the corrected one stands in its place.
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
from fleet.ingest.landing import SHEET
from fleet.ingest.raw import RawTable, numbered_table
from fleet.ingest.refused_file import BOOKKEEPING, labels
from fleet.store.database import Database
from fleet.store.schema import TABLES, Table


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
        n_read = len(rows) + len(raw.set_aside)
        msg = f"{raw.name}: the records in the file are {raw.n_records} by one count and {n_read} by another"
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
    """Let every corrected record take the place of the refused one, which becomes an older version.

    Another export may have the refused record again: every such one becomes an older version too, and the corrected one
    counts as a record of the latest file that has it, so that it stays among the readings and parts of its visit there.
    """
    if not database.value("select count(*) from log.landing.correction"):
        return
    database.run_file("fleet.ingest", "replaced")
    database.run(_STANDS_FOR)
    names = [name for (name,) in database.rows("select distinct landed_in from memory.main.replaced order by all")]
    for name in names:
        database.run(_REPEATED.format(landed_in=name, content=_content(_LANDED[name])))
    for name in names:
        _give_up(database, f"log.landing.{name}", "coalesce(l.record, l.rowid - r.first_place + 2)", name)
        database.run(_FOLLOWS.format(landed_in=name))
    _give_up(database, "log.landing.set_aside", "l.record")


def _give_up(database: Database, landing: str, record: str, landed_in: str = "") -> None:
    """Make the replaced records of a landing table, and those that repeat them, older versions."""
    counted = "coalesce(l.counted_in, l.source_id)" if landed_in else "l.source_id"
    older = f"update {landing} as l set standing = 'duplicate', reason = 'older_version' from"  # noqa: S608
    database.run(f"{older} memory.main.replaced as r where {counted} = r.source_id and {record} = r.record")
    database.run(
        f"{older} (select distinct place from memory.main.repeated where landed_in = $landed_in) as r "  # noqa: S608
        "where l.rowid = r.place",
        {"landed_in": landed_in or "set_aside"},
    )


_LANDED = {table.clean_name: table for table in (*TABLES.values(), SHEET)}


def _content(table: Table) -> str:
    """Return the SQL of what a record says: its values, and the cells it was refused for under whatever headers."""
    cells = "list_sort(list_filter(json_extract_string(raw, '$.*'), lambda cell: trim(cell) <> ''))"
    return f"hash({', '.join(column.name for column in table.columns)}, {cells})"


# Which refused record a corrected one stands for in the end: a wrong correction may have been corrected again.
# Grain: one row a corrected record.
_STANDS_FOR = """
create or replace table memory.main.stands_for as
with recursive chain as (
    select source_id, record, origin_source, origin_record from log.landing.correction where origin_source is not null
    union
    select c.source_id, c.record, o.origin_source, o.origin_record
    from chain as c join log.landing.correction as o on o.source_id = c.origin_source and o.record = c.origin_record
    where o.origin_source is not null
)
select * from chain as c anti join log.landing.correction as o
    on o.source_id = c.origin_source and o.record = c.origin_record and o.origin_source is not null;

create or replace table memory.main.gave_up as
select r.*, coalesce(s.origin_source, r.source_id) as origin_source,
    coalesce(s.origin_record, r.record) as origin_record
from memory.main.replaced as r left join memory.main.stands_for as s using (source_id, record);

-- lines that couldn't be split are known again by their text
create or replace table memory.main.repeated as
select 'set_aside' as landed_in, a.rowid as place, a.source_id, g.origin_source, g.origin_record
from memory.main.gave_up as g
join log.landing.set_aside as o on o.source_id = g.source_id and o.record = g.record
join log.landing.set_aside as a on a.raw = o.raw and a.standing = 'quarantined'
join log.landing.source as s on s.source_id = a.source_id and s.landed_in = g.landed_in
anti join log.landing.correction as c on c.source_id = a.source_id
"""

# Records of a landing table that say what a replaced one says; those that came back corrected are never among them.
_REPEATED = """
insert into memory.main.repeated
with told as (
    select rowid as place, coalesce(counted_in, source_id) as source_id,
        record, {content} as content
    from log.landing.{landed_in} where coalesce(standing, 'quarantined') = 'quarantined'
),
gone as (
    select distinct t.content, g.origin_source, g.origin_record
    from memory.main.gave_up as g
    join told as t on t.source_id = g.source_id and coalesce(t.record, t.place - g.first_place + 2) = g.record
    where g.landed_in = '{landed_in}'
)
select '{landed_in}', t.place, t.source_id, g.origin_source, g.origin_record
from told as t join gone as g using (content)
anti join log.landing.correction as c on c.source_id = t.source_id
"""

_FOLLOWS = """
update log.landing.{landed_in} as l set source_id = f.follows
from (
    select s.source_id, s.record, max(r.source_id) as follows
    from memory.main.stands_for as s join memory.main.repeated as r using (origin_source, origin_record) group by all
) as f
where l.counted_in = f.source_id and l.record = f.record and l.source_id < f.follows
"""


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

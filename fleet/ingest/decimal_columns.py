"""Which columns of which files carry decimal commas; a file that does is landed again, read so."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path

from fleet.ingest.care import make_macros
from fleet.ingest.cells import MEASURED, PLAIN_CELL, CellSql
from fleet.ingest.decimals import DecimalMark, decide_decimal, decimals_sql
from fleet.ingest.hard_rows import HARD, alike, fetch_hard
from fleet.ingest.landed import Landed
from fleet.ingest.landing import landing_of, landing_table
from fleet.ingest.putting_down import GLANCED, put_down, take_back
from fleet.store.database import Database


def settle_decimals(
    database: Database, landed: Sequence[Landed], scratch: Path
) -> tuple[list[Landed], list[tuple[int, DecimalMark]]]:
    """Find the columns written with decimal commas; return the sources as they have landed then, and what was decided.

    A column is asked only where some cell of it wasn't settled by a glance, so most logs cost nothing here. Of a large
    file columns that a glance mostly can't read were read with care at once: these are asked by themselves.
    """
    marks: list[tuple[int, DecimalMark]] = []
    settled = {source.source_id: source for source in landed}
    misread: set[int] = set()
    for group in alike(landed):
        landing = landing_of(group[0].plan, group[0].conventions)
        columns = [c for c in landing.filled if c.column.kind in MEASURED and c.cell and PLAIN_CELL.fullmatch(c.cell)]
        if group[0].decimal or not columns:
            continue
        whole = {source.source_id: _count_whole(database, source, columns) for source in group}
        if not fetch_hard(database, landing, group) and not any(whole.values()):
            continue
        for source, mark, is_read in _marks(database, group, columns, whole):
            marks.append((source.source_id, mark))
            if mark.is_comma:
                before = settled[source.source_id]
                comma = before.conventions.comma | {mark.column}
                settled[source.source_id] = replace(before, conventions=replace(before.conventions, comma=comma))
                misread |= set() if is_read else {source.source_id}
    for source_id in sorted(misread):
        settled[source_id] = _land_again(database, settled[source_id], scratch)
    return [settled[source.source_id] for source in landed], marks


Counts = tuple[int, int, int]
"""Cells that can only be decimal commas, only decimal points, and either."""


def _count_whole(database: Database, source: Landed, columns: Sequence[CellSql]) -> dict[str, Counts]:
    """Count the cells of a large file's columns that were read with care at once, as far as they hold commas at all."""
    if not source.raw.is_large:
        return {}
    strange = _read_with_care(source, columns)
    strange = [c for c, n in zip(strange, _asked(database, source, _COMMAS, strange), strict=True) if n]
    found = _asked(database, source, decimals_sql, strange)
    return {column.name: (found[3 * i], found[3 * i + 1], found[3 * i + 2]) for i, column in enumerate(strange)}


def _read_with_care(source: Landed, columns: Sequence[CellSql]) -> list[CellSql]:
    """Return the columns that were read with care at once, as `put_down` decides it from a large file's sample."""
    rows = source.raw.sample()
    chosen = []
    for column in columns:
        cells = (row[int(str(column.cell)[1:])] for row in rows)
        seen = GLANCED.get(column.column.kind)
        if seen and sum(bool(cell.strip()) and not seen.fullmatch(cell) for cell in cells) * 20 > len(rows):
            chosen.append(column)
    return chosen


_COMMAS = "count(*) filter (contains({}, ','))".format


def _asked(
    database: Database, source: Landed, ask: Callable[[str], str], columns: Sequence[CellSql]
) -> tuple[int, ...]:
    """Return the counts asked for of some columns of a source, from all its records."""
    if not columns:
        return ()
    asked = ", ".join(ask(str(column.cell)) for column in columns)
    make_macros(database, asked)
    made = "create or replace table memory.main.decimal_shapes as select"
    source.raw.run(database, lambda relation: f"{made} {asked} from {relation}")
    return tuple(int(n) for n in database.rows("from memory.main.decimal_shapes")[0])


def _marks(
    database: Database, group: Sequence[Landed], columns: Sequence[CellSql], whole: Mapping[int, Mapping[str, Counts]]
) -> list[tuple[Landed, DecimalMark, bool]]:
    """Return what was decided of each source's columns, and whether they were read so already."""
    asked = ", ".join(decimals_sql(str(column.cell)) for column in columns)
    make_macros(database, asked)
    counted = {row[0]: row[1:] for row in database.rows(f"select source_id, {asked} from {HARD} group by all")}  # noqa: S608
    found = []
    for i, column in enumerate(columns):
        # records that came back corrected are read as the file they were refused in
        shapes: dict[int, Counts] = {}
        for source in group:
            own = counted.get(source.source_id, (0,) * 3 * len(columns))[3 * i : 3 * i + 3]
            own = whole[source.source_id].get(column.name, own)
            before = shapes.get(source.lands_as, (0, 0, 0))
            shapes[source.lands_as] = (before[0] + int(own[0]), before[1] + int(own[1]), before[2] + int(own[2]))
        for source in group:
            n_comma, n_point, n_undecided = shapes[source.lands_as]
            if n_comma:
                is_whole = column.name in whole[source.source_id]
                point, undecided = (0, 0) if is_whole else _glanced(database, source, column)
                mark = decide_decimal(
                    source.name, column.name, None,
                    n_comma=n_comma, n_point=n_point + point, n_undecided=n_undecided + undecided,
                )  # fmt: skip
                # with care each cell was read by its own shape, which only those that may be either don't have
                found += [(source, mark, is_whole and not n_undecided)] if mark else []
    return found


def _glanced(database: Database, source: Landed, column: CellSql) -> tuple[int, int]:
    """Return how many numbers a glance read have a sure point (44.2), and one that may mean thousands (1.234)."""
    table = landing_table(source.plan).clean_name
    name = column.name
    row = database.rows(
        f"select count(*) filter (round({name}, 2) = {name}), count(*) filter (round({name}, 2) <> {name}) "  # noqa: S608
        f"from log.landing.{table} where raw is null and source_id = {source.lands_as} and {name} <> trunc({name})"
    )[0]
    return int(row[0]), int(row[1])


def _land_again(database: Database, source: Landed, scratch: Path) -> Landed:
    take_back(database, source)
    landed, n_landed = put_down(database, source, scratch)
    database.run(
        f"update log.landing.source set first_place = (select coalesce(max(rowid), -1) + 1 - {n_landed} "  # noqa: S608
        f"from log.landing.{landing_table(source.plan).clean_name}) where source_id = {source.source_id}"
    )
    return landed

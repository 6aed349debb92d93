"""Which columns of which files carry decimal commas; a file that does is landed again, read so."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from fleet.ingest.care import make_macros
from fleet.ingest.cells import MEASURED, PLAIN_CELL, CellSql
from fleet.ingest.decimals import DecimalMark, decide_decimal, decimals_sql
from fleet.ingest.hard_rows import HARD, alike, fetch_hard
from fleet.ingest.landed import Landed
from fleet.ingest.landing import landing_of, landing_table
from fleet.ingest.putting_down import put_down, take_back
from fleet.store.database import Database


def settle_decimals(
    database: Database, landed: Sequence[Landed], scratch: Path
) -> tuple[list[Landed], list[tuple[int, DecimalMark]]]:
    """Find the columns written with decimal commas; return the sources as they have landed then, and what was decided.

    A column is asked only where some cell of it wasn't settled by a glance, so most logs cost nothing here.
    """
    marks: list[tuple[int, DecimalMark]] = []
    settled = {source.source_id: source for source in landed}
    for group in alike(landed):
        landing = landing_of(group[0].plan, group[0].conventions)
        if group[0].decimal or not fetch_hard(database, landing, group):
            continue
        columns = [c for c in landing.filled if c.column.kind in MEASURED and c.cell and PLAIN_CELL.fullmatch(c.cell)]
        for source, mark in _marks(database, group, columns):
            marks.append((source.source_id, mark))
            if mark.is_comma:
                before = settled[source.source_id]
                comma = before.conventions.comma | {mark.column}
                settled[source.source_id] = replace(before, conventions=replace(before.conventions, comma=comma))
    for source in landed:
        if settled[source.source_id] is not source:
            settled[source.source_id] = _land_again(database, settled[source.source_id], scratch)
    return [settled[source.source_id] for source in landed], marks


def _marks(database: Database, group: Sequence[Landed], columns: Sequence[CellSql]) -> list[tuple[Landed, DecimalMark]]:
    if not columns:
        return []
    asked = ", ".join(decimals_sql(str(column.cell)) for column in columns)
    make_macros(database, asked)
    counted = {row[0]: row[1:] for row in database.rows(f"select source_id, {asked} from {HARD} group by all")}  # noqa: S608
    found = []
    for i, column in enumerate(columns):
        # records that came back corrected are read as the file they were refused in
        shapes: dict[int, list[int]] = {}
        for source in group:
            own = counted.get(source.source_id, (0,) * 3 * len(columns))[3 * i : 3 * i + 3]
            total = shapes.setdefault(source.lands_as, [0, 0, 0])
            shapes[source.lands_as] = [a + int(b) for a, b in zip(total, own, strict=True)]
        for source in group:
            n_comma, n_point, n_undecided = shapes[source.lands_as]
            if n_comma:
                point, undecided = _glanced(database, source, column)
                mark = decide_decimal(
                    source.name, column.name, None,
                    n_comma=n_comma, n_point=n_point + point, n_undecided=n_undecided + undecided,
                )  # fmt: skip
                found += [(source, mark)] if mark else []
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

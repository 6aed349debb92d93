"""A single visits sheet taken apart: visits, and the equipment, readings and parts its rows carry.

A visit with several parts takes several rows of one file, which agree in all but the part columns (a blank agrees
with a value): the first of them becomes the visit, the others stand as *further row* and count as clean. Where
values differ the last one holds, as in every correction, and the rows that hold another are older versions.
"""

from __future__ import annotations

from collections.abc import Iterable

from fleet.ingest.landing import CLOCKED, SHEET
from fleet.store.database import Database
from fleet.store.schema import EQUIPMENT, SECTIONS, STAGES, VISITS

PARTS = {
    "part_no": "part_no",
    "component": "part_component",
    "quantity": "part_quantity",
    "unit_cost": "part_cost",
    "why": "part_why",
    "lot": "part_lot",
}
"""Columns of parts_used, and the sheet's names for them."""

RATED = tuple(c.name for c in EQUIPMENT.columns if c.name not in ("equipment_id", "installed_on"))


def take_sheets_apart(database: Database) -> None:
    """Fill the landing tables of visits, equipment, readings and parts from the sheets that have landed."""
    visit = [c.name for c in VISITS.columns] + [f"{name}_has_time" for name in CLOCKED]
    shared = [c.name for c in SHEET.columns if c.name not in ("visit_id", *PARTS.values())]
    shared += [f"{name}_has_time" for name in CLOCKED]
    database.run(_merged(shared))
    database.run(_judged(shared))
    database.run(_visits(visit))
    database.run(_parts())
    database.run("; ".join(_readings()))
    database.run(_equipment())


def settle_further_rows(database: Database) -> None:
    """Let further rows share the fate of their visit, and a later sheet's parts and readings replace earlier ones."""
    database.run_file("fleet.ingest", "further_rows")


def _merged(shared: Iterable[str]) -> str:
    """One row a visit of a sheet: of each column the last value that is written."""
    last = ", ".join(f"arg_max(s.{name}, s.rowid) as {name}" for name in shared)
    return (
        f"create or replace table memory.main.sheet_visit as select s.source_id, s.visit_id, {last}, "
        "arg_min(s.counted_in, s.rowid) as counted_in, "
        "arg_min(coalesce(s.record, s.rowid - o.first_place + 2), s.rowid) as record "
        "from log.landing.sheet as s join log.landing.source as o on o.source_id = s.source_id "
        "where s.standing is null group by s.source_id, s.visit_id"
    )


def _judged(shared: Iterable[str]) -> str:
    """One row a record of a sheet: is it the visit's first, a further one, the same again, or an older version?"""
    agrees = " and ".join(f"(s.{name} is null or s.{name} = m.{name})" for name in shared)
    content = ", ".join(f"s.{c.name}" for c in SHEET.columns)
    return f"""
        create or replace table memory.main.sheet_row as
        with compared as (
            select s.rowid as place, s.source_id, s.visit_id, coalesce({agrees}, false) as agrees,
                row_number() over (partition by s.source_id, hash({content}) order by s.rowid) as repeat
            from log.landing.sheet as s
            join memory.main.sheet_visit as m on m.source_id = s.source_id and m.visit_id = s.visit_id
            where s.standing is null
        )
        select *, row_number() over (partition by source_id, visit_id, agrees and repeat = 1 order by place) as nth
        from compared
    """


def _visits(visit: Iterable[str]) -> str:
    names = [name for name in visit if name != "visit_id"]
    merged = ", ".join(
        f"case when r.agrees and r.repeat = 1 and r.nth = 1 then m.{name} else s.{name} end as {name}" for name in names
    )
    return f"""
        insert into log.landing.visit
            (visit_id, {", ".join(names)}, source_id, counted_in, record, standing, reason, notice, raw)
        select s.visit_id, {merged}, s.source_id, s.counted_in, coalesce(s.record, s.rowid - o.first_place + 2),
            case when s.standing is not null then s.standing when r.repeat > 1 or not r.agrees then 'duplicate'
                when r.nth > 1 then 'further row' end,
            case when s.standing is not null then s.reason when r.repeat > 1 then 'same_row'
                when not r.agrees then 'older_version' end,
            s.notice, s.raw
        from log.landing.sheet as s
        join log.landing.source as o on o.source_id = s.source_id
        left join memory.main.sheet_row as r on r.place = s.rowid
        left join memory.main.sheet_visit as m on m.source_id = s.source_id and m.visit_id = s.visit_id
        order by s.rowid
    """


def _parts() -> str:
    filled = " or ".join(f"s.{name} is not null" for name in PARTS.values())
    return f"""
        insert into log.landing.part (visit_id, {", ".join(PARTS)}, source_id, counted_in, record)
        select s.visit_id, {", ".join(f"s.{name}" for name in PARTS.values())}, s.source_id, s.counted_in,
            coalesce(s.record, s.rowid - o.first_place + 2)
        from log.landing.sheet as s
        join log.landing.source as o on o.source_id = s.source_id
        join memory.main.sheet_row as r on r.place = s.rowid
        where r.agrees and r.repeat = 1 and ({filled})
        order by s.rowid
    """


def _readings() -> list[str]:
    return [
        "insert into log.landing.reading (visit_id, component, stage, value, meter, source_id, counted_in, record) "
        f"select visit_id, '{section}', '{stage}', {section}_{stage}_uf, meter, source_id, counted_in, record "
        f"from memory.main.sheet_visit where {section}_{stage}_uf is not null order by source_id, visit_id"
        for section in SECTIONS
        for stage in STAGES
    ]


def _equipment() -> str:
    """Build units of tags the equipment table doesn't have; a blank installed_on is the tag's only other one."""
    last = ", ".join(f"arg_max({name}, reported_at) as {name}" for name in RATED)
    filled = " or ".join(f"{name} is not null" for name in (*RATED, "installed_on"))
    return f"""
        insert into log.landing.equipment (equipment_id, installed_on, {", ".join(RATED)}, source_id, notice)
        with said as (
            select * exclude (installed_on), coalesce(installed_on, case when count(distinct installed_on)
                over (partition by equipment_id) = 1 then max(installed_on) over (partition by equipment_id) end
            ) as installed_on
            from memory.main.sheet_visit
            where equipment_id not in (select equipment_id from log.landing.equipment where standing is null)
        )
        select equipment_id, installed_on, {last}, min(source_id), 'built from visits'
        from said where {filled}
        group by equipment_id, installed_on order by equipment_id, installed_on
    """

"""Which of several records with one key counts: the latest good one; the others are duplicates.

The later file wins, within a file the later row. A refused record never displaces a good one, and a refused
record that comes again corrected gives up its place.
"""

from __future__ import annotations

from fleet.ingest.cells import WORDY
from fleet.store.database import Database
from fleet.store.schema import TABLES, Table


def keep_latest(database: Database, table: Table) -> None:
    """Mark older and repeated rows of a table with a key (equipment, visits, catalogue, weather …) as duplicates."""
    landing = f"log.landing.{table.clean_name}"
    key = ", ".join(table.key)
    # the property may be blank, where there is only one; what a row is about may not
    told = " and ".join(f"{name} is not null" for name in table.key if table.column(name).needed or name == "visit_id")
    # Two steps: most logs have no repeated key at all, and the window below then has nothing to do.
    database.run(
        f"""
        create or replace table memory.main.repeated as
        select distinct {key} from {landing}
        where coalesce(standing, 'quarantined') = 'quarantined' and {told} and hash({key}) in (
            select hash({key}) from {landing}
            where coalesce(standing, 'quarantined') = 'quarantined' and {told}
            group by all having count(*) > 1
        )
        """  # noqa: S608
    )
    if not database.value("select count(*) from memory.main.repeated"):
        return
    same_key = " and ".join(f"l.{name} is not distinct from k.{name}" for name in table.key)
    database.run(
        f"""
        create or replace table memory.main.superseded as
        with ranked as (
            select l.rowid as place, {_content(table, "l")} as content,
                first_value({_content(table, "l")}) over latest_first as winner,
                -- a refused correction stays refused beside the good record it didn't displace
                l.standing = 'quarantined' and (l.source_id, l.rowid) > first_value((l.source_id, l.rowid))
                    over latest_first as refused,
                row_number() over latest_first as rank
            from {landing} as l join memory.main.repeated as k on {same_key}
            where coalesce(l.standing, 'quarantined') = 'quarantined'
            window latest_first as (
                partition by {", ".join(f"l.{name}" for name in table.key)}
                order by (l.standing is null) desc, l.source_id desc, l.rowid desc
            )
        )
        select place, case when content = winner then 'same_row' else 'older_version' end as reason
        from ranked where rank > 1 and not coalesce(refused, false)
        """  # noqa: S608
    )
    _mark(database, landing)


def keep_latest_set(database: Database, table: Table) -> None:
    """Keep a visit's readings or parts from the latest file that has any; equal rows of a file are one."""
    landing = f"log.landing.{table.clean_name}"
    database.run(
        f"""
        create or replace table memory.main.superseded as
        with latest as (
            select visit_id, max(source_id) as source_id from {landing} where standing is null group by all
        ),
        ranked as (
            select place, source_id = newest as current, visit_id, content,
                row_number() over (partition by visit_id, source_id, content order by place) as repeat
            from (
                select l.rowid as place, l.source_id, latest.source_id as newest, l.visit_id,
                    {_content(table, "l")} as content
                from {landing} as l join latest on latest.visit_id = l.visit_id
                where l.standing is null
            )
        )
        select r.place, case when r.current or n.place is not null then 'same_row' else 'older_version' end as reason
        from ranked as r
        left join ranked as n
            on n.visit_id = r.visit_id and n.content = r.content and n.current and n.repeat = 1 and not r.current
        where not r.current or r.repeat > 1
        """  # noqa: S608
    )
    _mark(database, landing)


def keep_one_of_equal(database: Database, table: Table) -> None:
    """Mark rows that are the same in every column as an earlier one."""
    landing = f"log.landing.{table.clean_name}"
    database.run(
        f"""
        create or replace table memory.main.superseded as
        select place, 'same_row' as reason from (
            select rowid as place, row_number() over (partition by {_content(table, "l")} order by rowid) as repeat
            from {landing} as l where standing is null
        ) where repeat > 1
        """  # noqa: S608
    )
    _mark(database, landing)


def _mark(database: Database, landing: str) -> None:
    database.run(
        f"update {landing} as l set standing = 'duplicate', reason = s.reason "  # noqa: S608
        "from memory.main.superseded as s where l.rowid = s.place"
    )


def _content(table: Table, alias: str) -> str:
    columns = [c.name for c in table.columns] + [f"{c.name}_word" for c in table.columns if c.kind in WORDY]
    # a refused row's cells may not have become values: its text tells it from another
    told = f"case when {alias}.standing = 'quarantined' then {alias}.raw end"
    return "hash(" + ", ".join(f"{alias}.{name}" for name in columns) + f", {told})"


KEYED = tuple(
    TABLES[name]
    for name in ("equipment", "visits", "catalogue", "stock", "weather", "properties", "buildings", "occupancy")
)
SETS = tuple(TABLES[name] for name in ("readings", "parts_used"))
EQUALS = (TABLES["coverage"],)

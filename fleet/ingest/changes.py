"""What corrections changed: each column in which an older version of a record differs from the one that counts."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleet.ingest.versions import KEYED
from fleet.store.schema import Table
from fleet.store.snapshots import Store

if TYPE_CHECKING:
    import pandas as pd


def list_changes(store: Store) -> pd.DataFrame:
    """Return what changed from older versions of keyed records (visits, equipment, catalogue …) to the newest.

    Returns
    -------
    DataFrame
        table_name, key, column, older, newer, older_source, older_record, newer_source: one row a column that differs,
        older versions in the order they were read. Values are as they were understood.

    Raises
    ------
    StoreError
        If nothing is loaded.
    """
    union = " union all ".join(_changes(table) for table in KEYED)
    with store.open() as database:
        return database.frame(f'from ({union}) order by table_name, key, older_source, older_record, "column"')


def _changes(table: Table) -> str:
    landing = f"log.landing.{table.clean_name}"
    same = " and ".join(f"o.{name} is not distinct from n.{name}" for name in table.key)
    key = "concat_ws(' ', " + ", ".join(f"o.{name}::varchar" for name in table.key) + ")"
    pairs = ", ".join(
        f"{{'column': '{c.name}', 'older': o.{c.name}::varchar, 'newer': n.{c.name}::varchar}}"
        for c in table.columns
        if c.name not in table.key
    )
    source = "(select name || case when member <> '' then ':' || member else '' end from log.landing.source as s "
    source += "where s.source_id = coalesce({0}.counted_in, {0}.source_id))"
    first = "(select first_place from log.landing.source as s where s.source_id = o.source_id)"
    return f"""
        select '{table.name}' as table_name, key, change.column as "column", change.older, change.newer,
            older_source, older_record, newer_source
        from (
            select {key} as key, unnest([{pairs}]) as change, {source.format("o")} as older_source,
                coalesce(o.record, o.rowid - {first} + 2) as older_record, {source.format("n")} as newer_source
            from {landing} as o join {landing} as n on {same}
            where o.standing = 'duplicate' and o.reason = 'older_version' and n.standing is null
        ) where change.older is distinct from change.newer
    """  # noqa: S608

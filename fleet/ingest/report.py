"""The account of a load: what was read, understood, fixed, refused and why."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

from fleet.ingest.possible import Missing, what_is_missing
from fleet.store.database import Database
from fleet.store.schema import TABLES

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True, slots=True, kw_only=True)
class SourceAccount:
    """The records of one source table; ``records`` is counted over the bytes, apart from the reader."""

    source: str
    table: str
    records: int
    clean: int
    quarantined: int
    duplicate: int
    blank: int

    @property
    def balanced(self) -> bool:
        """Records in = clean + quarantined + duplicates + blanks."""
        return self.records == self.clean + self.quarantined + self.duplicate + self.blank


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadReport:
    """Everything a load says of itself.

    ``reasons`` counts (table, standing, reason); ``notices`` counts (table, rule) of rows kept with a
    change or a flag; ``remarks`` are whole sentences; ``missing`` says which answers the log can't give in full.
    """

    data_version: str
    loaded: bool
    accounts: tuple[SourceAccount, ...]
    reasons: tuple[tuple[str, str, str, int], ...]
    notices: tuple[tuple[str, str, int], ...]
    remarks: tuple[str, ...]
    missing: tuple[Missing, ...] = ()

    def total(self, standing: str) -> int:
        """Return how many records of the whole log stand so (records, clean, quarantined …)."""
        return sum(int(getattr(account, standing)) for account in self.accounts)

    @property
    def n_quarantined(self) -> int:
        """Records refused, over all tables."""
        return self.total("quarantined")

    def to_frame(self) -> pd.DataFrame:
        """Return the account as a table: one row a source table."""
        import pandas as pd  # takes seconds to import; only a table needs it

        return pd.DataFrame([asdict(account) for account in self.accounts])

    def to_dict(self) -> dict[str, Any]:
        """Return the report in plain types that JSON can carry."""
        return asdict(self)


def read_report(database: Database, *, data_version: str, loaded: bool) -> LoadReport:
    """Work out the account of the snapshot attached to ``database``."""
    rows = database.rows(_ACCOUNT.format(union=_standing_union()))
    accounts = tuple(
        SourceAccount(
            source=name, table=table, records=records, clean=clean, quarantined=bad, duplicate=double, blank=blank
        )
        for name, table, records, clean, bad, double, blank in rows
    )
    reasons = database.rows(_REASONS.format(union=_rows_union()))
    notices = database.rows(_NOTICES.format(union=_rows_union()))
    remarks = database.rows("select said from log.landing.remark order by source_id, said")
    return LoadReport(
        data_version=data_version,
        loaded=loaded,
        accounts=accounts,
        reasons=tuple((t, s, r, int(n)) for t, s, r, n in reasons),
        notices=tuple((t, r, int(n)) for t, r, n in notices),
        remarks=tuple(said for (said,) in remarks),
        missing=what_is_missing(_columns_present(database), is_read=True),
    )


def _columns_present(database: Database) -> dict[str, list[str]]:
    """Return the columns of each table that hold at least one value in a clean record."""
    present = {}
    for name, table in TABLES.items():
        columns = [column.name for column in table.columns]
        own = " and notice is distinct from 'built from visits'" if name == "equipment" else ""
        asked = ", ".join(f"count({column}) > 0" for column in columns)
        row = database.rows(f"select {asked} from log.landing.{table.clean_name} where standing is null{own}")[0]  # noqa: S608
        present[name] = [column for column, is_there in zip(columns, row, strict=True) if is_there]
    return present


def records_frame(database: Database, standing: str) -> pd.DataFrame:
    """Return the place and reason of every record of a standing: quarantined, duplicate, blank, or kept (changed).

    ``text`` is there only for records that couldn't be split into fields; `fleet.ingest.records` reads that of all.
    """
    return database.frame(
        f"select source, table_name, record, reason, raw as text from ({PLACED})",  # noqa: S608
        {"standing": standing},
    )


def _rows_union() -> str:
    # rows taken out of a visits sheet are no records of their own
    own = "source_id in (select source_id from log.landing.source where table_name = '{}')"
    return " union all ".join(
        f"select '{t.name}' as table_name, coalesce(counted_in, source_id) as counted, record, rowid as place, "  # noqa: S608
        f"nullif(standing, 'further row') as standing, reason, notice, raw from log.landing.{t.clean_name} "
        "where (coalesce(standing, 'further row') = 'further row' and notice is not null) "
        f"or (standing <> 'further row' and {own.format(t.name)})"
        for t in TABLES.values()
    )


_RECORD = "coalesce(r.record, r.place - s.first_place + 2)"
"""A record's number: the header is record 1, so the first landed row is record 2."""

_SOURCE = "s.name || case when s.member <> '' then ':' || s.member else '' end"

PLACED = f"""
with placed as (
    select s.source_id, {_RECORD} as record, coalesce(r.reason, r.notice) as reason, null as raw, false as is_whole
    from ({_rows_union()}) as r join log.landing.source as s on s.source_id = r.counted
    where coalesce(r.standing, 'kept') = $standing
        -- a unit built from visits is no record of its own
        and (r.record is not null or r.table_name = s.table_name)
    union all
    select source_id, record, reason, raw, true from log.landing.set_aside where standing = $standing
)
select s.source_id, s.sha256, {_SOURCE} as source, s.table_name, p.record::bigint as record, p.reason, p.raw, p.is_whole
from placed as p join log.landing.source as s using (source_id)
order by s.source_id, p.record, p.reason
"""  # noqa: S608
"""Every record of a standing with its place and reason; ``raw`` is the whole text of one that couldn't be split."""


def _standing_union() -> str:
    return " union all ".join(
        "select coalesce(counted_in, source_id) as source_id, coalesce(standing, 'clean') as standing, "  # noqa: S608
        f"count(*) as n from log.landing.{t.clean_name} as r semi join log.landing.source as s "
        f"on s.source_id = r.source_id and s.table_name = '{t.name}' group by all"
        for t in TABLES.values()
    )


_ACCOUNT = """
with standings as (
    {union}
    union all
    select source_id, standing, count(*) as n from log.landing.set_aside group by all
)
select s.name || case when s.member <> '' then ':' || s.member else '' end as source, s.table_name,
    s.n_records,
    coalesce(sum(n) filter (standing in ('clean', 'further row')), 0)::bigint,
    coalesce(sum(n) filter (standing = 'quarantined'), 0)::bigint,
    coalesce(sum(n) filter (standing = 'duplicate'), 0)::bigint,
    coalesce(sum(n) filter (standing = 'blank'), 0)::bigint
from log.landing.source as s left join standings using (source_id)
group by s.source_id, s.name, s.member, s.table_name, s.n_records order by s.source_id
"""

_REASONS = """
with every_reason as (
    select table_name, standing, unnest(string_split(reason, '; ')) as reason
    from ({union}) where standing in ('quarantined', 'duplicate', 'blank')
    union all
    select s.table_name, a.standing, a.reason
    from log.landing.set_aside as a join log.landing.source as s using (source_id)
)
select table_name, standing, reason, count(*) from every_reason group by all order by all
"""

_NOTICES = """
select table_name, split_part(said, ':', 1) as rule, count(*)
from (
    select table_name, unnest(string_split(notice, ' | ')) as said
    from ({union}) where standing is null and notice is not null
) group by all order by all
"""

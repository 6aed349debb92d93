"""Put one source table down in landing: its dates settled first, its rows counted against the independent count."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

from fleet.errors import SourceError
from fleet.ingest.care import make_macros
from fleet.ingest.cells import DATED
from fleet.ingest.dates import SLASHED, settle_dates
from fleet.ingest.headers import HeaderPlan
from fleet.ingest.landed import Landed
from fleet.ingest.landing import land, landing_of, landing_table
from fleet.ingest.raw import RawTable, ReadError
from fleet.store.database import Database


def put_down(database: Database, asked: Landed, scratch: Path) -> tuple[Landed, int]:
    """Land a source table; return it with what was settled on the way, and how many rows it put down.

    Raises
    ------
    SourceError
        If its records can't be read, or not as many as the independent count found.
    """
    tried = _try_to_land(database, asked)
    if tried is None and not asked.raw.repaired:
        # the fast reader gave up or lost rows: read again, record by record
        tried = _try_to_land(database, replace(asked, raw=asked.raw.with_repair(scratch)))
    if tried is None:
        msg = f"{asked.name}: its records can't be read reliably; export it again as plain CSV"
        raise SourceError(msg)
    return tried


def _try_to_land(database: Database, asked: Landed) -> tuple[Landed, int] | None:
    """Land a raw table; None, and nothing landed, where its rows can't be read or don't match the count."""
    raw, plan = asked.raw, asked.plan
    try:
        slashed, careful = _look_at_sample(raw, plan) if raw.is_large else ([], frozenset())
        orders = {**asked.conventions.orders, **settle_dates(database, raw, slashed, asked.forced)}
        landed = replace(asked, conventions=replace(asked.conventions, orders=orders))
        landing = landing_of(plan, landed.conventions)
        statement = land(landing, asked.lands_as, counted_in=asked.counted_in, careful=careful)
        make_macros(database, statement(""))
        n_landed = raw.run(database, statement)
    except ReadError as error:
        if raw.facts is None or raw.repaired:
            msg = f"{raw.name} can't be read ({str(error).splitlines()[0]})"
            raise SourceError(msg) from error
        return None
    if n_landed + len(raw.set_aside) == raw.n_records and raw.counting.result().regular:
        return landed, n_landed
    take_back(database, asked)
    return None


def take_back(database: Database, landed: Landed) -> None:
    """Take a source's rows out of landing again, so that it can be put down anew."""
    database.run(
        f"delete from log.landing.{landing_table(landed.plan).clean_name} "  # noqa: S608
        f"where coalesce(counted_in, source_id) = {landed.source_id}"
    )


def _look_at_sample(raw: RawTable, plan: HeaderPlan) -> tuple[list[tuple[int, str]], frozenset[str]]:
    """Return the date columns written with slashes and the columns a glance mostly can't read, by a sample.

    This decides only how fast a large file is read: what a glance leaves unread is read again in any case.
    """
    rows = raw.sample()
    slashed, careful = [], set()
    for position, column in plan.columns:
        filled = [row[position] for row in rows if row[position].strip()]
        if column.kind in DATED and sum(bool(re.match(SLASHED, cell)) for cell in filled) > len(filled) / 2:
            slashed.append((position, column.name))
        elif column.kind in GLANCED:
            strange = sum(not GLANCED[column.kind].fullmatch(cell) for cell in filled)
            careful |= {column.name} if strange * 20 > len(rows) else set()
    return slashed, frozenset(careful)


GLANCED: Mapping[str, re.Pattern[str]] = {
    "number": re.compile(r"[+-]?\d*\.?\d+"),
    "money": re.compile(r"[+-]?\d*\.?\d+"),
    "yesno": re.compile(r"yes|no|y|n|true|false|1|0", re.IGNORECASE),
    "date": re.compile(r"\d{4}-\d\d?-\d\d?.{0,9}"),
    "datetime": re.compile(r"\d{4}-\d\d?-\d\d?.{0,9}"),
}
"""What a glance reads, roughly."""

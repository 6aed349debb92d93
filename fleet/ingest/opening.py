"""Open the files of a load: which tables they hold, how their columns are understood, what came back corrected."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from fleet.errors import SourceError, StoreError
from fleet.ingest.cells import DATED, MEASURED
from fleet.ingest.conventions import Conventions
from fleet.ingest.corrections import Corrected, take_apart
from fleet.ingest.dates import DateOrder
from fleet.ingest.guess_names import plain
from fleet.ingest.headers import DRAFTING, HeaderPlan, understand_headers
from fleet.ingest.landed import Landed
from fleet.ingest.mapping import FileMapping, LogMapping
from fleet.ingest.raw import RawTable, open_tables
from fleet.ingest.refused_file import file_key, is_refused_file
from fleet.ingest.sources import order_of_reading
from fleet.ingest.which_table import clearly_another, named_table, only_table, plainly_of, table_by_headers
from fleet.store.database import Database
from fleet.store.snapshots import LoadEntry, SourceEntry, Store


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """One source table on its way into a snapshot; ``corrected`` says so where its records came back corrected."""

    raw: RawTable
    plan: HeaderPlan
    load: LoadEntry
    sha256: str
    forced: str | None
    decimal: str = ""
    conventions: Conventions = field(default_factory=Conventions)
    corrected: Corrected | None = None


class Opener:
    """Opens the sources of loads: where they lie, or from the copies the store keeps."""

    def __init__(self, store: Store, paths: Mapping[str, Path], scratch: Path) -> None:
        self._store, self._paths, self.scratch = store, paths, scratch
        self.passed_over: list[str] = []
        """What is to be said of the files: those passed over, and those taken for what they are by their headers."""

    def open(self, database: Database, load: LoadEntry, landed: Sequence[Landed]) -> list[Reading]:
        """Return the tables of a load in the order they are read; ``landed`` are those of earlier loads.

        Raises
        ------
        SourceError
            If a file can't be read, or neither its name nor its headers say which table it is.
        StoreError
            If a kept source is missing.
        """
        mapping = mapping_of(load)
        readings: list[Reading] = []
        self.passed_over = []
        for source in load.sources:
            tables = self.tables(source, mapping)
            only = only_table(tables)
            for raw in tables:
                if is_refused_file(raw.headers):
                    readings += self._corrected(database, raw, load, source, landed)
                    continue
                reading, remarks = _plain(raw, load, source, mapping, is_only=raw is only)
                self.passed_over += remarks
                if reading is not None:
                    readings.append(reading)
                elif raw.member or (mapping and mapping.file_for(raw.name)):
                    self.passed_over.append(f"passed over: {_shown(raw)}{_hint(raw)}")
                else:
                    msg = f"{_shown(raw)}: neither its name nor its headers say which table it is; {DRAFTING}"
                    raise SourceError(msg)
        if not readings:
            msg = f"{load.origin} has no table of a log ({'; '.join(self.passed_over) or 'it is empty'}); {DRAFTING}"
            raise SourceError(msg)
        return [readings[i] for i in order_of_reading([reading.plan.table for reading in readings])]

    def tables(self, source: SourceEntry, mapping: LogMapping | None = None) -> list[RawTable]:
        """Return the tables of one source file."""
        path = self._paths.get(source.sha256) or self._unpack(source)
        return open_tables(
            source.name, path, scratch=self.scratch, header_record=_header_records(mapping) if mapping else None
        )

    def _corrected(
        self, database: Database, raw: RawTable, load: LoadEntry, source: SourceEntry, landed: Sequence[Landed]
    ) -> list[Reading]:
        origins = {(file_key(one.sha256), one.name): one for one in landed}
        readings = []
        for corrected in take_apart(database, raw, origins, self.scratch):
            origin = corrected.origin
            readings.append(
                Reading(
                    raw=corrected.raw, load=load, sha256=source.sha256, forced=load.options.get("dates"),
                    corrected=corrected,
                    plan=origin.plan if origin
                    else understand_headers(corrected.raw.name, corrected.table, corrected.raw.headers),
                    conventions=origin.conventions if origin else Conventions(),
                )
            )  # fmt: skip
        return readings

    def _unpack(self, source: SourceEntry) -> Path:
        import pyarrow as pa  # only a second load or a rebuild unpacks

        kept = self._store.sources / f"{source.sha256}.zst"
        if not kept.exists():
            msg = (
                f"the kept copy of {source.name} is missing from {self._store.sources}; "
                "put it back, or load into a new store"
            )
            raise StoreError(msg)
        ending = ".gz" if source.name.lower().endswith(".gz") else ""
        target = self.scratch / f"{source.sha256}{ending}"
        with pa.CompressedInputStream(pa.OSFile(str(kept)), "zstd") as packed, target.open("wb") as plain:
            shutil.copyfileobj(packed, plain, 1 << 22)
        return target


def mapping_of(load: LoadEntry) -> LogMapping | None:
    """Return the mapping a load was made with, None where there was none."""
    plain = load.options.get("mapping")
    return LogMapping.from_plain(plain) if plain else None


def _header_records(mapping: LogMapping) -> Callable[[str], int | None]:
    def header_record(name: str) -> int | None:
        mapped = mapping.file_for(name)
        return mapped.header_record if mapped else None

    return header_record


def _shown(raw: RawTable) -> str:
    more = ", …" if len(raw.headers) > 8 else ""
    return f"{raw.name} (headers: {', '.join(raw.headers[:8])}{more})"


def _hint(raw: RawTable) -> str:
    """Return what is to be said of a table that is passed over though most of its headers are those of a log's."""
    table = plainly_of(raw.headers)
    return f"; most are those of {table}: if it belongs to the log, {DRAFTING}" if table else ""


def _plain(
    raw: RawTable, load: LoadEntry, source: SourceEntry, mapping: LogMapping | None, *, is_only: bool
) -> tuple[Reading | None, list[str]]:
    """Return how a table is to be read, and what is to be said of that.

    It is None where nothing says which table it is, or the mapping leaves it aside.
    """
    mapped = mapping.file_for(raw.name) if mapping else None
    if mapped and not mapped.table:
        return None, []
    if mapped:
        plan: HeaderPlan | None = understand_headers(raw.name, mapped.table, raw.headers, mapped, sample=raw.sample())
        said = ""
    else:
        plan, said = _understood(raw, is_only=is_only)
    if plan is None:
        return None, []
    reading = Reading(
        raw=raw, plan=plan, load=load, sha256=source.sha256, forced=load.options.get("dates"),
        decimal=mapped.decimal if mapped else "", conventions=_said(plan, mapped, load.options.get("dates")),
    )  # fmt: skip
    read = _headers_said(plan, mapped)
    if not said:
        return reading, [f"{raw.name}: read {read}"] if read else []
    return reading, [f"{said}; {read}" if read else said]


def _headers_said(plan: HeaderPlan, mapped: FileMapping | None) -> str:
    """Return what headers were taken for that don't say so by themselves and that no mapping speaks of."""
    told = {column.header.strip() for column in mapped.columns} if mapped else set()
    read = []
    for position, column in plan.columns:
        header = plan.headers[position]
        own = plain(column.name).startswith(plain(header)) and len(plain(header)) > 3
        if header.strip() not in told and not own and column.name not in plan.day_from:
            unit = plan.units.get(column.name)
            read.append(f"{header!r} as {column.name}{f' in {unit}' if unit else ''}")
    times = [(plan.headers[position], column) for column, position in plan.clock.items()]
    read += [f"{header!r} as the time of {column}" for header, column in times if header.strip() not in told]
    return ", ".join(read)


def _understood(raw: RawTable, *, is_only: bool) -> tuple[HeaderPlan | None, str]:
    """Return how the columns of a table nobody has spoken of are understood, None where it is of no known kind."""
    named = named_table(raw, is_only=is_only)
    if named is None:
        # one that is all there is and plainly of a kind says which column is missing
        table = table_by_headers(raw.headers) or (plainly_of(raw.headers) if is_only or not raw.member else None)
        if table is None:
            return None, ""
        plan = understand_headers(raw.name, table, raw.headers, sample=raw.sample())
        return plan, f"{raw.name}: read as {table}, which its headers fit best"
    said = "{}: read as {}, which its headers speak of, whatever its name"
    other = clearly_another(named, raw.headers, fits=True)
    if other is None:
        try:
            return understand_headers(raw.name, named, raw.headers, sample=raw.sample()), ""
        except SourceError as error:
            other = clearly_another(named, raw.headers, fits=False)
            if other is None:
                fitting = table_by_headers(raw.headers)
                if fitting in (None, named):
                    raise
                msg = f"{error}; or, if this is {fitting}, let its name begin so"
                raise SourceError(msg) from error
    return understand_headers(raw.name, other, raw.headers, sample=raw.sample()), said.format(raw.name, other)


def _said(plan: HeaderPlan, mapped: FileMapping | None, forced: str | None) -> Conventions:
    """Return the conventions the mapping names; the option on the command line wins over it."""
    if mapped is None:
        return Conventions()
    dated = [column.name for _, column in plan.columns if column.kind in DATED]
    said = {name: plan.dates.get(name) or mapped.dates for name in dated}
    orders = {
        name: DateOrder(
            column=name, order=forced or order, said=f"{mapped.name}: {name} read as {forced or order}, as told"
        )
        for name, order in said.items()
        if order
    }
    measured = (column.name for _, column in plan.columns if column.kind in MEASURED)
    return Conventions(orders=orders, comma=frozenset(measured) if mapped.decimal == "comma" else frozenset())

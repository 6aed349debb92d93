"""The only place that opens DuckDB: one in-process engine, a fresh cursor for every statement."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from importlib import resources
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any, Self

import duckdb

from fleet.errors import StoreError

if TYPE_CHECKING:
    # importing them takes seconds, and a load or a plain query needs neither
    import pandas as pd
    import pyarrow as pa

MEMORY_LIMIT = "1500MB"
"""Enough for tens of millions of visits: DuckDB spills to disk beyond it."""


Parameters = Sequence[Any] | Mapping[str, Any] | None


def read_sql(package: str, name: str) -> str:
    """Return the text of ``name``.sql kept in the folder ``sql`` of a package of this project."""
    return (resources.files(package) / "sql" / f"{name}.sql").read_text(encoding="utf-8")


class Database:
    """An in-memory DuckDB engine with at most one snapshot attached as ``log``.

    Every statement runs on a cursor of its own, since a connection shared between threads hands one
    thread another's answer without an error.
    """

    def __init__(self, connection: duckdb.DuckDBPyConnection) -> None:
        self._connection = connection
        self._files_run: set[tuple[str, str]] = set()

    @classmethod
    def build(cls, path: Path, *, spill: Path) -> Database:
        """Open an engine that writes a new snapshot file at ``path`` and may read source files."""
        database = cls(_engine(spill))
        # no write-ahead log: the file counts only once it is finished, and a broken one is thrown away
        database.run(f"attach {_literal(str(path))} as log (recovery_mode no_wal_writes)")
        return database

    @classmethod
    def scratch(cls, spill: Path) -> Database:
        """Open an engine of its own that may read source files and is thrown away."""
        return cls(_engine(spill))

    @classmethod
    def read(cls, path: Path, *, spill: Path) -> Database:
        """Open an engine on the finished snapshot at ``path``, read-only and shut off from other files.

        Raises
        ------
        StoreError
            If the file is missing or not a snapshot.
        """
        database = cls(_engine(spill))
        try:
            database.run(f"attach {_literal(str(path))} as log (read_only)")
        except duckdb.Error as error:
            database.close()
            msg = f"the snapshot {path.name} can't be opened ({str(error).splitlines()[0]}); load the log again"
            raise StoreError(msg) from error
        database.run("set enable_external_access = false")
        return database

    def run(self, sql: str, parameters: Parameters = None) -> None:
        """Run one or more statements and drop what they return."""
        with self._connection.cursor() as cursor:
            cursor.execute(sql, parameters) if parameters is not None else cursor.execute(sql)

    def rows(self, sql: str, parameters: Parameters = None) -> list[tuple[Any, ...]]:
        """Return every row of a query as a tuple."""
        with self._connection.cursor() as cursor:
            cursor.execute(sql, parameters) if parameters is not None else cursor.execute(sql)
            return cursor.fetchall()

    def value(self, sql: str, parameters: Parameters = None) -> Any:  # noqa: ANN401 (whatever the query yields)
        """Return the first column of the first row, None where there is no row."""
        rows = self.rows(sql, parameters)
        return rows[0][0] if rows else None

    def frame(self, sql: str, parameters: Parameters = None) -> pd.DataFrame:
        """Return a query's rows as a DataFrame."""
        with self._connection.cursor() as cursor:
            cursor.execute(sql, parameters) if parameters is not None else cursor.execute(sql)
            return cursor.df()

    def run_file(self, package: str, name: str, parameters: Parameters = None) -> None:
        """Run the statements of a .sql file kept in a package's ``sql`` folder."""
        self.run(read_sql(package, name), parameters)

    def run_file_once(self, package: str, name: str) -> None:
        """Run a .sql file of definitions unless this engine has run it already."""
        if (package, name) not in self._files_run:
            self.run_file(package, name)
            self._files_run.add((package, name))

    def run_with(self, sql: str, view: str, batches: pa.RecordBatchReader) -> int:
        """Run one statement that reads a stream of Arrow batches under the name ``view``; return the rows it wrote."""
        with self._connection.cursor() as cursor:
            cursor.register(view, batches)
            try:
                return int((cursor.execute(sql).fetchone() or (0,))[0])
            finally:
                cursor.unregister(view)

    def run_frame(self, sql: str, view: str, frame: pd.DataFrame) -> None:
        """Run one statement that reads a DataFrame under the name ``view``."""
        with self._connection.cursor() as cursor:
            cursor.register(view, frame)
            try:
                cursor.execute(sql)
            finally:
                cursor.unregister(view)

    def finish(self) -> None:
        """Write everything of the snapshot to its file and let go of it; no write-ahead log remains."""
        self.run("checkpoint log")
        self.run("detach log")
        self.close()

    def close(self) -> None:
        """Close the engine; an unfinished snapshot file is left behind for its maker to delete."""
        self._connection.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, value: BaseException | None, tb: TracebackType | None) -> None:
        self.close()


EngineError = duckdb.Error
"""What DuckDB raises; named here so that no other module imports it."""


def _engine(spill: Path) -> duckdb.DuckDBPyConnection:
    spill.mkdir(parents=True, exist_ok=True)
    return duckdb.connect(
        ":memory:",
        config={
            "memory_limit": MEMORY_LIMIT,
            "temp_directory": str(spill),
            # a stray function name must not try to fetch an extension from the network
            "autoinstall_known_extensions": "false",
            "autoload_known_extensions": "false",
        },
    )


def _literal(text: str) -> str:
    return "'" + text.replace("'", "''") + "'"


literal = _literal
"""A text as an SQL literal, for the few statements whose file names can't be bound."""

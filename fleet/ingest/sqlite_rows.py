"""The rows of a SQLite table as text, in a stream that DuckDB reads."""

from __future__ import annotations

import sqlite3
import threading
from collections import deque
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import closing, contextmanager
from typing import TYPE_CHECKING, Self

from fleet.ingest.sqlite_file import FAILS, RowsDiffer, SqliteTable, address_of, open_sqlite, quoted, refusal
from fleet.store.database import Database, EngineError

if TYPE_CHECKING:
    import pyarrow as pa

BATCH_BYTES = 64_000_000
MOST_ROWS = 65_536
"""Rows of a batch, fewer where rows are long."""

AHEAD = 2
"""Batches the driver reads ahead while the engine works on one: reading a row costs as much as understanding it."""


def run_sqlite(database: Database, statement: Callable[[str], str], table: SqliteTable) -> int:
    """Run ``statement(relation)`` where the relation yields c0 .. cn and record (null); return the rows it wrote.

    The rows come through the fast driver; where it gives up (a text that isn't UTF-8, no driver for this machine),
    through Python's own, which reads everything.

    Raises
    ------
    SourceError
        If a row can't be read, or other than the counted number of rows comes.
    """
    made = statement("(select *, null::bigint as record from raw_rows)")
    try:
        with _fast_stream(table) as stream:
            return database.run_with(made, "raw_rows", stream.reader())
    except _fast_failures():
        pass
    with _plain_stream(table) as stream:
        try:
            return database.run_with(made, "raw_rows", stream.reader())
        except EngineError as error:
            if stream.failure is None:
                raise
            raise refusal(table.source, table.member, stream.failure) from error


def first_rows(table: SqliteTable, n_rows: int) -> list[list[str]]:
    """Return a table's first rows as text, blank cells as empty texts.

    Raises
    ------
    SourceError
        If they can't be read.
    """
    try:
        with closing(open_sqlite(table.path)) as connection:
            found = connection.execute(f"{_text_query(table)} limit {n_rows}").fetchall()
    except FAILS as error:
        raise refusal(table.source, table.member, error) from error
    return [[cell or "" for cell in row] for row in found]


class _Stream:
    """Batches of a table's rows as text, counted on their way; what stopped it is kept in ``failure``.

    An iterator of its own rather than a generator: the engine pulls batches from several of its threads.
    """

    def __init__(self, table: SqliteTable, batches: Iterator[pa.RecordBatch], schema: pa.Schema) -> None:
        self._table, self._batches, self._schema = table, batches, schema
        self._lock = threading.Lock()
        self._n_rows = 0
        self.failure: Exception | None = None

    def reader(self) -> pa.RecordBatchReader:
        import pyarrow as pa

        return pa.RecordBatchReader.from_batches(self._schema, self)

    def __iter__(self) -> Self:
        return self

    def __next__(self) -> pa.RecordBatch:
        with self._lock:
            try:
                batch = next(self._batches, None)
            except Exception as error:
                self.failure = error
                raise
            if batch is not None:
                self._n_rows += batch.num_rows
                return batch
            if self._n_rows != self._table.n_rows:
                self.failure = RowsDiffer(f"{self._n_rows} rows came, {self._table.n_rows} were counted")
                raise self.failure
            raise StopIteration


def _fast_failures() -> tuple[type[Exception], ...]:
    import pyarrow as pa

    failures: tuple[type[Exception], ...] = (EngineError, pa.ArrowException, ImportError, OSError)
    try:
        from adbc_driver_manager import Error
    except ImportError:
        return failures
    return (*failures, Error)


@contextmanager
def _fast_stream(table: SqliteTable) -> Iterator[_Stream]:
    import adbc_driver_sqlite
    import pyarrow as pa
    from adbc_driver_sqlite import dbapi

    # the driver takes each column's type from the first batch: a row of text ahead makes every column text
    ahead = ", ".join(f"' ' as c{i}" for i in range(len(table.headers)))
    size = {adbc_driver_sqlite.StatementOptions.BATCH_ROWS.value: str(_rows_of_a_batch(table))}
    schema = _schema(table)
    with dbapi.connect(address_of(table.path)) as connection, connection.cursor() as cursor:
        cursor.adbc_statement.set_options(**size)
        cursor.execute(_text_query(table, f"select {ahead} union all "))
        batches = cursor.fetch_record_batch()

        def renamed() -> Iterator[pa.RecordBatch]:
            for number, batch in enumerate(batches):
                text = pa.RecordBatch.from_arrays(batch.columns, schema=schema)
                # bytes that are no UTF-8 would bring the whole engine down, not only the statement
                text.validate(full=True)
                yield text.slice(1) if number == 0 else text

        with _read_ahead(renamed()) as ahead_of_need:
            yield _Stream(table, ahead_of_need, schema)


@contextmanager
def _read_ahead(batches: Iterator[pa.RecordBatch]) -> Iterator[Iterator[pa.RecordBatch]]:
    """Have a thread of its own fetch the next batches; it alone touches ``batches``, and has stopped at the end."""
    with ThreadPoolExecutor(1, thread_name_prefix="read-ahead") as reader:
        coming: deque[Future[pa.RecordBatch | None]] = deque()

        def fetched() -> Iterator[pa.RecordBatch]:
            for _ in range(AHEAD):
                coming.append(reader.submit(next, batches, None))
            while (batch := coming.popleft().result()) is not None:
                coming.append(reader.submit(next, batches, None))
                yield batch

        try:
            yield fetched()
        finally:
            # the engine may have given up in the middle
            for future in coming:
                future.cancel()


@contextmanager
def _plain_stream(table: SqliteTable) -> Iterator[_Stream]:
    import pyarrow as pa

    schema = _schema(table)
    size = _rows_of_a_batch(table)

    def batches(connection: sqlite3.Connection) -> Iterator[pa.RecordBatch]:
        cursor = connection.execute(_text_query(table))
        while rows := cursor.fetchmany(size):
            yield pa.record_batch([pa.array(column, pa.string()) for column in zip(*rows, strict=True)], schema=schema)

    with closing(open_sqlite(table.path)) as connection:
        yield _Stream(table, batches(connection), schema)


def _schema(table: SqliteTable) -> pa.Schema:
    import pyarrow as pa  # half a second that a load of CSV files needn't wait for

    return pa.schema([(f"c{i}", pa.string()) for i in range(len(table.headers))])


def _text_query(table: SqliteTable, ahead: str = "") -> str:
    """Return the query for all rows as text; columns go by place, so that their names may be what they like."""
    names = [f"c{i}" for i in range(len(table.headers))]
    cells = ", ".join(f"nullif(cast({name} as text), '') as {name}" for name in names)
    # no name of a table in the file may be taken for it, least of all its own
    renamed = quoted(f"{table.member}, columns by place")
    return (
        f"with {renamed}({', '.join(names)}) as (select * from {quoted(table.member)}) "  # noqa: S608
        f"{ahead}select {cells} from {renamed}"
    )


def _rows_of_a_batch(table: SqliteTable) -> int:
    """Return how many rows make a batch that memory bears, however many columns or long notes there are."""
    bytes_a_row = max(table.path.stat().st_size // max(table.n_rows, 1), 32 * len(table.headers), 1)
    return max(min(MOST_ROWS, BATCH_BYTES // bytes_a_row), 256)

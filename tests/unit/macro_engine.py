"""An engine with the macros that read cells, for tests that ask a macro and not a whole load."""

from contextlib import contextmanager

from fleet.ingest.care import MACRO_FILES
from fleet.store.database import Database


@contextmanager
def macro_engine(folder):
    with Database.build(folder / "a.duckdb", spill=folder / "spill") as database:
        for name in ("glance", *MACRO_FILES):
            database.run_file("fleet.ingest", name)
        yield database


def read_all(engine, macro, written):
    """What ``macro`` makes of each text; one statement for all of them."""
    rows = engine.rows(
        f"select {macro}(cell) from (select unnest($1) as cell, generate_subscripts($1, 1) as place) order by place",
        [list(written)],
    )
    return [row[0] for row in rows]

"""Small logs typed in a test: write their CSV files, load them, build their histories."""

import csv
import datetime as dt
from pathlib import Path

from fleet.histories.build import Histories, build_histories
from fleet.ingest.load import load_log
from fleet.store.snapshots import Store

UNIT = {"property": "Oak Row", "building": "1", "model_family": "A", "compressor_type": "scroll"}


def unit(tag, **cells):
    """Return one row of equipment, a 40/5 scroll unit of building 1 unless told otherwise."""
    return {"equipment_id": tag, **UNIT, "herm_uf": 40, "fan_uf": 5, **cells}


def visit(key, tag, reported_at, **cells):
    """Return one row of visits, a no-cooling call unless told otherwise."""
    return {"visit_id": key, "equipment_id": tag, "reported_at": reported_at, "call_type": "no cooling", **cells}


def write_log(folder: Path, **tables) -> Path:
    """Write each table (a list of dicts; columns are the union of their keys) as a CSV file."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, rows in tables.items():
        columns = list(dict.fromkeys(column for row in rows for column in row))
        with (folder / f"{name}.csv").open("w", encoding="utf-8", newline="") as stream:
            writer = csv.DictWriter(stream, columns, restval="")
            writer.writeheader()
            writer.writerows(rows)
    return folder


def histories_of(folder: Path, *, as_of: dt.date | None = None, **tables) -> Histories:
    """Load a log typed as tables and build its histories."""
    log = write_log(folder / "log", **tables)
    store = Store(folder / "store")
    load_log(log, store, loaded_on=dt.date(2030, 1, 1))
    return build_histories(store, as_of=as_of)


def kept(first, last, place="Oak Row"):
    """Return one row of coverage."""
    return {"property": place, "from_date": first, "to_date": last}


def one_visit(folder: Path) -> Histories:
    """Load the smallest log there is: one unit, one visit."""
    return histories_of(folder, visits=[{"visit_id": "V1", "equipment_id": "U1", "reported_at": "2024-07-01"}])

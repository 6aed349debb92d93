"""Records that were refused, doubled, blank or kept with a change, each with its place, its reason and its own text."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import TYPE_CHECKING

from fleet.ingest.originals import read_originals
from fleet.ingest.refused_file import RefusedRecord, file_key, labels
from fleet.ingest.report import PLACED
from fleet.store.snapshots import Store

if TYPE_CHECKING:
    import pandas as pd

COLUMNS = ("source", "table_name", "record", "reason", "text")


def find_records(store: Store, standing: str) -> list[RefusedRecord]:
    """Return every record of a standing (quarantined, duplicate, blank or kept) with its cells as the source has them.

    Parameters
    ----------
    standing : {"quarantined", "duplicate", "blank", "kept"}
        ``kept`` stands for records that count but were changed or flagged; their reason is what was done.

    Returns
    -------
    list of RefusedRecord
        In the order of the sources, then of the records.

    Raises
    ------
    StoreError
        If nothing is loaded or a kept source is missing.
    """
    with store.open() as database:
        rows = database.rows(PLACED, {"standing": standing})
        wanted: dict[int, list[int]] = {}
        for source_id, _, _, _, record, _, text, is_whole in rows:
            if text is None or not is_whole:
                wanted.setdefault(source_id, []).append(record)
        originals = read_originals(store, database, wanted)
        headers = {s: tuple(h) for s, h in database.rows("select source_id, headers from log.landing.source")}
    return [
        RefusedRecord(
            reason=reason, table=table, source=source, file_key=file_key(sha256), record=record,
            headers=headers[source_id], cells=originals.get((source_id, record)), text=text if is_whole else "",
        )
        for source_id, sha256, source, table, record, reason, text, is_whole in rows
    ]  # fmt: skip


def list_records(store: Store, standing: str) -> pd.DataFrame:
    """Return every record of a standing as a table, see `find_records` and `records_table`."""
    return records_table(find_records(store, standing))


def records_table(records: Sequence[RefusedRecord]) -> pd.DataFrame:
    """Return records as a table: source file, table, record number, reason, and the record's text as JSON."""
    import pandas as pd  # takes seconds to import; only a table needs it

    rows = [(r.source, r.table, r.record, r.reason, text_of(r)) for r in records]
    return pd.DataFrame(rows, columns=list(COLUMNS))


def text_of(record: RefusedRecord) -> str:
    """Return a record's text: its cells under their headers as JSON, or the line itself where it can't be split."""
    if record.cells is None:
        return record.text
    named = dict(zip(labels(record.headers), record.cells, strict=True))
    return json.dumps(named, ensure_ascii=False, separators=(",", ":"))

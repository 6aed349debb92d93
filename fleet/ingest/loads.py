"""Which loads the store holds."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleet.store.snapshots import Store

if TYPE_CHECKING:
    import pandas as pd


def loads_table(store: Store) -> pd.DataFrame:
    """Return the loads in order: number, day, origin, files, bytes, and the options they were read with."""
    import pandas as pd  # takes seconds to import; only a table needs it

    rows = [
        (
            load.number, load.loaded_on, load.origin, len(load.sources), sum(s.n_bytes for s in load.sources),
            ", ".join(f"{name} {value}" for name, value in load.options.items() if value and name != "mapping"),
            "yes" if load.options.get("mapping") else "no",
        )
        for load in store.manifest().loads
    ]  # fmt: skip
    return pd.DataFrame(rows, columns=["number", "loaded_on", "origin", "files", "bytes", "options", "mapping"])

"""Turn a finished table into an answer that carries the histories' as-of day, notes and what was left out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from fleet.answer import Answer, AnswerColumn
from fleet.histories.build import Histories

if TYPE_CHECKING:
    import pandas as pd


def answer_from(
    histories: Histories,
    table: pd.DataFrame,
    columns: Sequence[AnswerColumn],
    *,
    name: str,
    method: str,
    n_used: int,
    notes: Sequence[str] = (),
    excluded: Mapping[str, int] | None = None,
    settings: Mapping[str, Any] | None = None,
) -> Answer:
    """Return the answer; the notes given come before those about the time at risk."""
    return Answer(
        name=name,
        as_of=histories.as_of,
        method=method,
        n_used=n_used,
        table=table[[column.name for column in columns]].reset_index(drop=True),
        columns=tuple(columns),
        excluded={**histories.excluded, **(excluded or {})},
        notes=(*notes, *histories.notes),
        settings={"as_of": histories.as_of, "chain_days": histories.chain_days, **(settings or {})},
        provenance=histories.provenance,
    )

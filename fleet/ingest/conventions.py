"""How one file writes its dates and decimals: settled from the whole of it, or said by the user."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from fleet.ingest.dates import DateOrder


@dataclass(frozen=True, slots=True, kw_only=True)
class Conventions:
    """What was settled for a file: the order of day and month by column, the columns written with decimal commas."""

    orders: Mapping[str, DateOrder] = field(default_factory=dict)
    comma: frozenset[str] = frozenset()

    def key(self) -> tuple[object, ...]:
        """Return what tells two files' conventions apart."""
        return tuple(sorted((name, order.order) for name, order in self.orders.items())), tuple(sorted(self.comma))

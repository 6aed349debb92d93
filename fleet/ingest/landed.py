"""A source table that has landed, and what is known of it."""

from __future__ import annotations

from dataclasses import dataclass, field

from fleet.ingest.conventions import Conventions
from fleet.ingest.headers import HeaderPlan
from fleet.ingest.raw import RawTable


@dataclass(frozen=True, slots=True, kw_only=True)
class Landed:
    """One source table in landing: how its columns are understood and what was settled of it so far.

    ``lands_as`` is the source whose records its own became: itself, but for corrected records that came back.
    ``forced`` is the order of day and month the user named, None where the column has to say it; ``decimal`` the
    decimal mark the mapping names, blank where it doesn't.
    """

    source_id: int
    lands_as: int
    raw: RawTable
    plan: HeaderPlan
    sha256: str
    forced: str | None
    decimal: str = ""
    conventions: Conventions = field(default_factory=Conventions)

    @property
    def name(self) -> str:
        """How reports call it."""
        return self.raw.name

    @property
    def counted_in(self) -> int | None:
        """What its rows say of where they are counted: nothing, but for corrected records."""
        return None if self.lands_as == self.source_id else self.source_id

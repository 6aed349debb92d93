"""What every analysis and plan returns: one frozen answer, its table and what stands behind it."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any

import pandas as pd

from fleet import __version__
from fleet.errors import SchemaError


@dataclass(frozen=True, slots=True, kw_only=True)
class AnswerColumn:
    """One documented column of an answer table.

    ``kind`` is one of text, count, number, money, date, yesno; ``unit`` is blank where none applies.
    """

    name: str
    kind: str
    meaning: str
    unit: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Provenance:
    """Which data and which program version an answer came from."""

    data_version: str
    package_version: str = __version__


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """A finished answer: a table, the number used, what was left out and why.

    Attributes
    ----------
    name : str
        The question's name, e.g. ``rates``.
    as_of : datetime.date
        The day the answer holds for; always given, never today's date in secret.
    method : str
        One sentence naming the method and its source.
    n_used : int
        How many failures, visits, readings or parts the answer rests on.
    excluded : mapping of str to int
        What was left out: reason -> count.
    notes : tuple of str
        Whole sentences for the reader, most important first.
    settings : mapping of str to object
        Every option the answer was made with, defaults included.
    columns : tuple of AnswerColumn
        The table's columns in order; columns added by grouping come with kind ``text``.
    """

    name: str
    as_of: dt.date
    method: str
    n_used: int
    table: pd.DataFrame = field(repr=False)
    columns: tuple[AnswerColumn, ...] = field(repr=False)
    excluded: Mapping[str, int] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
    settings: Mapping[str, Any] = field(default_factory=dict)
    provenance: Provenance = Provenance(data_version="unknown")

    def __post_init__(self) -> None:
        """Hold the table to its documented columns and close the mappings against writes."""
        documented = [column.name for column in self.columns]
        if list(self.table.columns) != documented:
            msg = f"{self.name}: table columns {list(self.table.columns)} differ from the documented {documented}"
            raise SchemaError(msg)
        object.__setattr__(self, "excluded", MappingProxyType(dict(self.excluded)))
        object.__setattr__(self, "settings", MappingProxyType(dict(self.settings)))

    def to_frame(self) -> pd.DataFrame:
        """Return a copy of the table; changing it doesn't change the answer."""
        return self.table.copy()

    def to_dict(self) -> dict[str, Any]:
        """Return the whole answer in plain types that JSON can carry; ``from_dict`` takes it back."""
        rows = json.loads(self.table.to_json(orient="records", date_format="iso", double_precision=15))
        dates = [c.name for c in self.columns if c.kind == "date"]
        for row in rows:
            for name in dates:
                row[name] = row[name][:10] if isinstance(row[name], str) and row[name][:4].isdigit() else row[name]
        return {
            "name": self.name,
            "as_of": self.as_of.isoformat(),
            "method": self.method,
            "n_used": self.n_used,
            "excluded": dict(self.excluded),
            "notes": list(self.notes),
            "settings": {key: _plain(value) for key, value in self.settings.items()},
            "data_version": self.provenance.data_version,
            "package_version": self.provenance.package_version,
            "columns": [{"name": c.name, "kind": c.kind, "unit": c.unit, "meaning": c.meaning} for c in self.columns],
            "rows": rows,
        }

    @classmethod
    def from_dict(cls, plain: Mapping[str, Any]) -> Answer:
        """Build the answer again from what ``to_dict`` gave (dates stay ISO text in the table)."""
        columns = tuple(AnswerColumn(**column) for column in plain["columns"])
        return cls(
            name=plain["name"],
            as_of=dt.date.fromisoformat(plain["as_of"]),
            method=plain["method"],
            n_used=plain["n_used"],
            table=pd.DataFrame(plain["rows"], columns=[c.name for c in columns]),
            columns=columns,
            excluded=plain["excluded"],
            notes=tuple(plain["notes"]),
            settings=plain["settings"],
            provenance=Provenance(data_version=plain["data_version"], package_version=plain["package_version"]),
        )


def _plain(value: object) -> object:
    if isinstance(value, (dt.date, dt.datetime)):
        return value.isoformat()
    if isinstance(value, tuple):
        return [_plain(item) for item in value]
    return value

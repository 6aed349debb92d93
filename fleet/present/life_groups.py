"""Whose lives are these? How components, groups and rows of the answers about lives are picked and called."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from types import MappingProxyType

import pandas as pd

from fleet.answer import Answer
from fleet.present.numbers import listed
from fleet.present.places import place_name
from fleet.trade.components import COMPONENTS

UNKNOWN = "unknown"
"""The group of units or parts of which the log doesn't say it."""

GROUPINGS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "all together": (),
        "compressor type": ("compressor_type",),
        "model family": ("model_family",),
        "model": ("model",),
        "size in tons": ("tons",),
        "refrigerant": ("refrigerant",),
        "property": ("property",),
        "building": ("property", "building"),
        "priority home": ("priority_home",),
        "part number": ("part_no",),
        "lot": ("part_no", "lot"),
    }
)
"""What a page offers to group lives by, and the columns it means."""

PARTS = tuple(c.name for c in COMPONENTS if c.is_part and c.counts_as_failure)
"""The components whose lives can be asked for, in the order shown to people."""

_PLURALS = MappingProxyType(
    {
        "breaker or disconnect": "breakers and disconnects",
        "wiring": "wiring parts",
        "refrigerant leak": "parts fitted for a leak",
        "dirty filter": "filters",
        "other": "other parts",
    }
)


def plural(component: str) -> str:
    """Return how several parts of a component are called."""
    return _PLURALS.get(component, f"{component}s")


def years(age: float) -> str:
    """Say a round age: "1 year", "5 years"."""
    return f"{age:g} {'year' if age == 1 else 'years'}"


def kind_of(by: Sequence[str]) -> str:
    """Return how a grouping is called: "model family", "building", "lot"."""
    return next((said for said, columns in GROUPINGS.items() if columns == tuple(by)), listed_columns(by))


def listed_columns(by: Sequence[str]) -> str:
    """Return grouping columns as words."""
    return listed([name.replace("_", " ") for name in by])


def grouping(answer: Answer) -> tuple[str, ...]:
    """Return the columns that tell an answer's groups apart: without a property all rows share."""
    by = tuple(answer.settings.get("by") or ())
    one = len(by) > 1 and "building" not in by and "property" in by and len(set(answer.table["property"])) < 2
    return tuple(name for name in by if name != "property") if one else by


def group_name(row: pd.Series, by: Sequence[str]) -> str:
    """Return how one group is called: "Juniper 3", "lot 22W08 of RC-355-44", "2.5 tons"; blank where all is one."""
    values = {name: str(row[name]) for name in by}
    if len(values) > 1 and set(values.values()) == {UNKNOWN}:
        return f"unknown {kind_of(by)}"
    said = []
    if {"property", "building"} <= values.keys():
        said.append(place_name(values.pop("property"), values.pop("building")))
    if {"part_no", "lot"} <= values.keys():
        part, lot = values.pop("part_no"), values.pop("lot")
        said.append(f"{part}, lot unknown" if lot == UNKNOWN else f"lot {lot} of {part}")
    return ", ".join([*said, *(_named(name, value) for name, value in values.items())])


def averaged(answer: Answer) -> pd.DataFrame:
    """Return an answer's rows of all laws together, one a component, group and ending; of several endings the first."""
    table = answer.table[answer.table["model"] == "average"]
    if len(table):
        table = table[table["ending"] == table["ending"].iloc[0]]
    return table.reset_index(drop=True)


def fitted(rows: pd.DataFrame) -> pd.DataFrame:
    """Return the rows that rest on a fitted law, not on bounds alone."""
    return rows[rows["weight"].notna() & rows["b10"].notna()]


def readable(curve: pd.DataFrame) -> pd.DataFrame:
    """Return the rows of a curve at which enough parts were watched to read it, and the rows that say there is none."""
    # here and not above: whoever only loads a log doesn't wait for the statistics to be imported
    from fleet.analysis.product_limit import FEWEST_AT_RISK

    return curve[(curve["at_risk"] >= FEWEST_AT_RISK) | curve["age"].isna()]


def last_ends(answer: Answer) -> pd.DataFrame:
    """Return what each cause has ended by the oldest age watched enough, of the group with most lives."""
    by = list(grouping(answer))
    known = answer.table[answer.table["share"].notna()]
    if by and len(known):
        groups = [rows for _, rows in known.groupby(by, sort=False)]
        known = max(groups, key=lambda rows: rows[rows["age"] == rows["age"].min()]["lives"].sum())
    last: pd.DataFrame = known[known["age"] == known["age"].max()]
    return last.reset_index(drop=True)


def _named(column: str, value: str) -> str:
    kind = kind_of((column,))
    if value == UNKNOWN:
        return f"unknown {kind}"
    if column == "priority_home":
        return "priority homes" if value == "true" else "other homes"
    return {"tons": f"{value} tons", "lot": f"lot {value}", "building": f"building {value}"}.get(column, value)

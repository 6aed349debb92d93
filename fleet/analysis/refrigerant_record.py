"""What went into each unit's circuit, day by day, and the stretches of days in which it would have been seen."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import pandas as pd

from fleet.trade.refrigerant import Addition, merge_days


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitRecord:
    """What went into one unit.

    Attributes
    ----------
    top_ups : tuple of Addition
        Added to a closed circuit, one a day.
    recharge_oz : float
        What filled a circuit that was opened anyway, ounces.
    opened_on : tuple of datetime.date
        Days on which it was.
    unmended : tuple of Addition
        Top-ups since a part of the circuit was last fitted.
    stretches : tuple of (datetime.date, datetime.date)
        Days in service while the log was kept; the second is the day after the last.
    """

    top_ups: tuple[Addition, ...]
    recharge_oz: float
    opened_on: tuple[dt.date, ...]
    unmended: tuple[Addition, ...]
    stretches: tuple[tuple[dt.date, dt.date], ...]

    def watched_from(self, day: dt.date) -> dt.date:
        """Return since when, without a gap, the log was kept before a day."""
        inside = [first for first, end in self.stretches if first <= day < end]
        return inside[0] if inside else day


@dataclass(frozen=True, slots=True, kw_only=True)
class _Visit:
    """One visit that added refrigerant, or fitted a part of the circuit."""

    day: dt.date
    ounces: float
    opened: bool
    mended: bool


def read_records(visits: pd.DataFrame, stretches: pd.DataFrame) -> Mapping[int, UnitRecord]:
    """Return each unit's record by its unit_id.

    Parameters
    ----------
    visits : pandas.DataFrame
        Rows of ``history.refrigerant_visit`` in order of their report, those outside the log left out.
    stretches : pandas.DataFrame
        unit_id, from_day and to_day of ``history.stretch``.
    """
    own: dict[int, list[_Visit]] = defaultdict(list)
    days = pd.to_datetime(visits["day"]).dt.date
    for unit_id, day, *said in zip(visits["unit_id"], days, *(visits[c] for c in _SAID), strict=True):
        own[int(unit_id)].append(_Visit(day=day, **dict(zip(_SAID, said, strict=True))))
    kept: dict[int, list[tuple[dt.date, dt.date]]] = defaultdict(list)
    from_days, to_days = (pd.to_datetime(stretches[name]).dt.date for name in ("from_day", "to_day"))
    for unit_id, first, end in zip(stretches["unit_id"], from_days, to_days, strict=True):
        kept[int(unit_id)].append((first, end))
    return {unit_id: _record(own[unit_id], days) for unit_id, days in kept.items()}


_SAID = ("ounces", "opened", "mended")


def _record(visits: Sequence[_Visit], stretches: Sequence[tuple[dt.date, dt.date]]) -> UnitRecord:
    # a part fitted for the leak ends the run of top-ups, the one made with it included
    last_mended = max((n for n, visit in enumerate(visits) if visit.mended), default=-1)
    return UnitRecord(
        top_ups=_additions(visit for visit in visits if not visit.opened),
        recharge_oz=sum(visit.ounces for visit in visits if visit.opened),
        opened_on=tuple(visit.day for visit in visits if visit.opened),
        unmended=_additions(visits[last_mended + 1 :]),
        stretches=tuple(stretches),
    )


def _additions(visits: Iterable[_Visit]) -> tuple[Addition, ...]:
    return merge_days(Addition(visit.day, float(visit.ounces)) for visit in visits)

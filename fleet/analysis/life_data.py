"""Lives of parts as a fit takes them: which births are known, how each ended, and what a weak removal means.

A part's age is not its unit's age: a part seen first when the log began may have followed others. Lives born in the log
are known; the others are of unknown birth, at most as old as the unit (`fleet.analysis.renewal_age`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
import pandas as pd

from fleet.analysis.life_sample import IndexArray, LifeSample, life_sample
from fleet.analysis.poisson import FloatArray
from fleet.analysis.renewal_age import UnknownLives
from fleet.errors import AnalysisError
from fleet.histories.build import Histories
from fleet.store.database import read_sql
from fleet.store.schema import GROUPING_COLUMNS, quote_identifier

ENDINGS = ("failed", "failed or weak", "failed, weak ignored")
"""What ends a life: a failure, a weak part taken to fail within the look-ahead; either, when it happened; a failure,
a weak part taken as any other that was removed sound (its life reads too long)."""

LOOK_AHEAD_YEARS = 1.0
"""How long a part removed as weak is taken to have had left at most: until the next round (our own choice). Off by a
factor of two it moves B10 by 3 % down or 8 % up where a third of lives end so, see tests/studies/life_study.py."""

LONGEST_GAP_DAYS = 183
"""A part seen before and after a gap of the log up to this long is taken to be the same one (our own choice)."""

PART_COLUMNS = ("part_no", "lot")
"""Columns of the part itself that lives may be grouped by."""

GROUPINGS = GROUPING_COLUMNS + PART_COLUMNS
"""Every column lives may be grouped by."""

_REMOVED = ("preventive", "upgrade", "unknown")
_WORDS = ("birth", "ended")
_NUMBERS = ("unit_id", "entry_age", "at_most", "quiet", "watched", "found_since", "unit_went")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Lives:
    """Lives of one component and group, ready for a fit.

    Attributes
    ----------
    known : LifeSample
        Lives of known age, those carried over a short gap among them.
    born : ndarray of bool
        Which of them were born in the log and not interrupted: the safe subset.
    unknown : UnknownLives
        Lives of unknown birth.
    known_unit, unknown_unit : ndarray of int
        The unit of each life.
    known_weak, unknown_weak : ndarray of bool
        Which lives ended by removal as weak.
    weak_presumed : bool
        Whether those count as failing within the look-ahead, without having failed.
    curve_leave, curve_failed : ndarray
        Ages at which known lives left, and whether by a failure, for the product-limit curve.
    removal_rate, unit_goes : float
        See `fleet.analysis.renewal_age.renewal_mixture`.
    unit_ages : ndarray
        Ages at the log's start of units of known age: what units of unknown age are taken to be like.
    lost : int
        Stretches of life that a long gap hides.
    """

    known: LifeSample
    born: npt.NDArray[np.bool_] = field(repr=False)
    unknown: UnknownLives
    known_unit: IndexArray = field(repr=False)
    unknown_unit: IndexArray = field(repr=False)
    known_weak: npt.NDArray[np.bool_] = field(repr=False)
    unknown_weak: npt.NDArray[np.bool_] = field(repr=False)
    weak_presumed: bool
    curve_leave: FloatArray = field(repr=False)
    curve_failed: npt.NDArray[np.bool_] = field(repr=False)
    removal_rate: float
    unit_goes: float
    unit_ages: FloatArray = field(repr=False)
    lost: int

    @property
    def years(self) -> float:
        """Part-years watched, of known and unknown birth."""
        return self.known.years + self.unknown.years

    @property
    def safe(self) -> LifeSample:
        """Return the lives born in the log alone."""
        k = self.known
        return LifeSample(entry=k.entry[self.born], low=k.low[self.born], high=k.high[self.born])


def read_lives(histories: Histories, by: Sequence[str] = ()) -> pd.DataFrame:
    """Return one row a stretch of a part's life that the log saw, with the columns to group by as text.

    Raises
    ------
    SchemaError
        If a grouping column doesn't exist.
    """
    histories.database.run(read_sql("fleet.analysis", "life"), [LONGEST_GAP_DAYS])
    picked = []
    for name in dict.fromkeys(by):
        quoted = quote_identifier(name, GROUPINGS)
        table = "l" if name in PART_COLUMNS else "u"
        picked.append(f"coalesce({table}.{quoted}::varchar, 'unknown') as {quote_identifier('by_' + name)}")
    columns = ", ".join(["l.*", *picked])
    return histories.database.frame(
        f"select {columns} from history.life as l join history.unit as u using (unit_id) order by l.spell_id"  # noqa: S608
    )


def coded_lives(frame: pd.DataFrame) -> pd.DataFrame:
    """Return what `lives_of` needs of the rows of `read_lives`, words as codes: cheap to cut into many groups."""
    grouped = [name for name in frame.columns if name.startswith("by_")]
    words = {name: frame[name].astype("category") for name in (*_WORDS, *grouped)}
    return frame[list(_NUMBERS)].assign(**words)


def lives_of(
    frame: pd.DataFrame,
    *,
    ending: str = "failed",
    look_ahead_years: float = LOOK_AHEAD_YEARS,
    like: pd.DataFrame | None = None,
) -> Lives:
    """Turn rows of `read_lives` (one component, one group) into lives.

    Parameters
    ----------
    frame : pandas.DataFrame
    ending : str
        One of `ENDINGS`.
    look_ahead_years : float
        Longest time a part removed as weak is taken to have had left.
    like : pandas.DataFrame, optional
        The component's rows of all groups: removals and unit ages are taken from them, so that a small group doesn't
        rest on a handful. Default: ``frame``.

    Raises
    ------
    AnalysisError
        When ``ending`` is none of `ENDINGS` or the look-ahead isn't above zero.
    """
    if ending not in ENDINGS or not look_ahead_years > 0:
        msg = (
            f"ending = {ending!r} with look_ahead_years = {look_ahead_years} can't be used: choose one of "
            f"{', '.join(ENDINGS)}, and a look-ahead above zero"
        )
        raise AnalysisError(msg)
    every = frame if like is None else like
    at_known = frame["birth"].isin(["known", "carried"]).to_numpy()
    at_unknown = frame["birth"].isin(["bounded", "unknown"]).to_numpy()
    low, high = _until(frame, ending, look_ahead_years)
    unit, at_most, quiet = frame["unit_id"].to_numpy(dtype=np.intp), _years(frame, "at_most"), _years(frame, "quiet")
    entry = _years(frame, "entry_age")[at_known]
    weak = (frame["ended"] == "weak").to_numpy()
    middle = np.where(np.isfinite(high), 0.5 * (low + np.where(np.isfinite(high), high, 0.0)), low)
    return Lives(
        known=life_sample(entry, entry + low[at_known], entry + high[at_known]),
        born=(frame["birth"] == "known").to_numpy()[at_known],
        unknown=UnknownLives(
            at_most=at_most[at_unknown],
            quiet=quiet[at_unknown],
            low=low[at_unknown],
            high=high[at_unknown],
        ),
        known_unit=unit[at_known],
        unknown_unit=unit[at_unknown],
        known_weak=weak[at_known],
        unknown_weak=weak[at_unknown],
        weak_presumed=ending == ENDINGS[0],
        curve_leave=entry + middle[at_known],
        curve_failed=np.isfinite(high[at_known]),
        removal_rate=_removal_rate(every, ending),
        unit_goes=float(every["unit_went"].sum()) / max(int((every["ended"] == "failed").sum()), 1),
        unit_ages=_unit_ages(frame, every),
        lost=int((frame["birth"] == "lost").sum()),
    )


def _until(frame: pd.DataFrame, ending: str, look_ahead: float) -> tuple[FloatArray, FloatArray]:
    """Return between which years of watching each life failed; equal = exact, infinite = it didn't."""
    watched, since = _years(frame, "watched"), _years(frame, "found_since")
    failed, weak = ((frame["ended"] == name).to_numpy() for name in ("failed", "weak"))
    found = failed & ~np.isnan(since)
    low, high = watched.copy(), np.full(watched.size, np.inf)
    high[failed] = watched[failed]
    low[found] = np.minimum(since[found], watched[found] - 0.5 / 365.25)
    low = np.maximum(low, 0.0)
    if ending == "failed":
        high[weak] = watched[weak] + look_ahead
    elif ending == "failed or weak":
        high[weak] = watched[weak]
    return low, high


def _removal_rate(frame: pd.DataFrame, ending: str) -> float:
    removed = (*_REMOVED, "weak") if ending == ENDINGS[2] else _REMOVED
    years = float(frame["watched"].sum())
    return float(frame["ended"].isin(removed).sum()) / years if years > 0 else 0.0


def _unit_ages(frame: pd.DataFrame, every: pd.DataFrame) -> FloatArray:
    """Return ages of units of known age when first seen: the group's own where it has ten, else everyone's."""
    for rows in (frame, every):
        first = (rows["birth"] == "bounded").to_numpy() & (_years(rows, "quiet") == 0.0)
        ages = np.sort(_years(rows, "at_most")[first])
        if ages.size >= 10:
            break
    return ages


def _years(frame: pd.DataFrame, column: str) -> FloatArray:
    years: FloatArray = frame[column].to_numpy(dtype=np.float64)
    return years

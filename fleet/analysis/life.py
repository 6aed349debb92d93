"""How long do parts last, and who wears out or dies young? By component, model family, lot or any equipment column."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import pandas as pd

from fleet.analysis.life_columns import columns_for
from fleet.analysis.life_data import (
    ENDINGS,
    LONGEST_GAP_DAYS,
    LOOK_AHEAD_YEARS,
    PART_COLUMNS,
    lives_of,
    read_lives,
)
from fleet.analysis.life_estimate import BIRTHS, LifeEstimate, estimate_lives, quick_b10
from fleet.analysis.life_rows import estimate_rows
from fleet.analysis.poisson import check_level
from fleet.answer import Answer
from fleet.errors import AnalysisError
from fleet.histories.answers import answer_from
from fleet.histories.build import Histories
from fleet.settings import LEVEL
from fleet.trade.components import COMPONENTS

METHOD = (
    "Weibull, lognormal and log-logistic laws by maximum likelihood with entry ages, right- and interval-censored "
    "lives; lives of unknown birth by a renewal mixture over what the log didn't see; likelihood-ratio limits; laws "
    "averaged by Akaike weights; beside it the product-limit curve (Kaplan and Meier 1958) with entry ages."
)


def estimate_life(
    histories: Histories,
    *,
    by: Sequence[str] = (),
    component: str | None = None,
    level: float = LEVEL,
    ending: str = "failed",
    births: str = "any",
    look_ahead_years: float = LOOK_AHEAD_YEARS,
) -> Answer:
    """Say how long each component's parts last, for each group of units or parts.

    Parameters
    ----------
    by : sequence of str
        Equipment columns, ``part_no`` or ``lot`` to group by; cells only, no margins. Parts fitted before the log have
        no known part number or lot, so by these only parts fitted in the log are used.
    component : str, optional
        Keep one component.
    level : float
        Two-sided level of every interval.
    ending : str
        What ends a life: one of ``ENDINGS``, or ``all`` for a set of rows each.
    births : str
        ``any``, or ``in the log`` to use only lives the log saw begin.
    look_ahead_years : float
        How long a part removed as weak is taken to have had left at most; counts where ``ending`` is ``failed``.

    Returns
    -------
    Answer
        One row a component, group, ending and law, the row ``average`` first. Where there are too few failures for a
        law the row ``average`` stands alone, with the bounds that can be given and the reason in ``note``.

    Raises
    ------
    SchemaError
        If a grouping column doesn't exist.
    AnalysisError
        If ``component``, ``ending`` or ``births`` names nothing known.

    Notes
    -----
    Ages are calendar years since fitting. Other endings than the one asked about are taken out (censored): the ages are
    those at which parts would fail were they left alone. Parts removed as prevention, upgrade or for an unknown reason,
    units retired and the log's gaps and end are censored. See `fleet.analysis.life_curve` for the whole curve and for
    what share each cause ends.
    """
    check_level(level)
    by = tuple(dict.fromkeys(by))
    endings = _asked_endings(ending, births)
    # parts fitted before the log have no part number and no lot: they can't be told apart by them
    births = BIRTHS[1] if set(by) & set(PART_COLUMNS) else births
    frame = read_lives(histories, by)
    chosen = _components(frame, component)
    mended = mended_without_part(histories)
    rows: list[dict[str, Any]] = []
    used: dict[str, int] = {}
    for name in chosen:
        every = frame[frame["component"] == name]
        for key, group in groups_of(every, by):
            for kind in endings:
                lives = lives_of(group, ending=kind, look_ahead_years=look_ahead_years, like=every)
                estimate = estimate_lives(lives, name, level=level, births=births)
                label = {"component": name, **key, "ending": kind}
                made = estimate_rows(lives, estimate, key=label, level=level, mended=mended.get(name, 0))
                made[0] |= _compared(group, every, name, estimate, look_ahead=look_ahead_years, kind=kind)
                rows += made
                used[kind] = used.get(kind, 0) + estimate.used
    columns = columns_for(by)
    table = pd.DataFrame(rows, columns=[c.name for c in columns])
    if "property" not in by:
        table["property"] = ""
    return answer_from(
        histories,
        table,
        columns,
        name="life",
        method=METHOD,
        n_used=used.get(endings[0], 0),
        notes=_notes(table, births, endings, look_ahead_years),
        excluded=_excluded(frame[frame["component"].isin(chosen)], births),
        settings={
            "by": by,
            "component": component,
            "level": level,
            "ending": ending,
            "births": births,
            "look_ahead_years": look_ahead_years,
            "longest_gap_days": LONGEST_GAP_DAYS,
        },
    )


def groups_of(frame: pd.DataFrame, by: Sequence[str]) -> Iterator[tuple[dict[str, str], pd.DataFrame]]:
    """Yield each group's values by column, and its rows; everything together without columns."""
    if not by:
        yield {}, frame
        return
    for values, rows in frame.groupby([f"by_{name}" for name in by], sort=True):
        yield dict(zip(by, map(str, values), strict=True)), rows


def mended_without_part(histories: Histories) -> dict[str, int]:
    """Return, by component, the failures that were mended without a new part: they end no life."""
    rows = histories.database.rows(
        "select component, count(*) from history.chain where counted and not part_fitted group by component"
    )
    return {str(name): int(count) for name, count in rows}


def _asked_endings(ending: str, births: str) -> tuple[str, ...]:
    if ending not in (*ENDINGS, "all"):
        msg = f"ending = {ending!r} is not known; choose one of {', '.join(ENDINGS)}, or all"
        raise AnalysisError(msg)
    if births not in BIRTHS:
        msg = f"births = {births!r} is not known; choose one of {', '.join(BIRTHS)}"
        raise AnalysisError(msg)
    return ENDINGS if ending == "all" else (ending,)


def _components(frame: pd.DataFrame, component: str | None) -> list[str]:
    known = [c.name for c in COMPONENTS if c.is_part and c.counts_as_failure]
    if component is not None and component not in known:
        msg = f"{component!r} is not a component that has a part; choose from {', '.join(known)}"
        raise AnalysisError(msg)
    seen = set(frame["component"].unique())
    return [name for name in known if name in seen and component in (None, name)]


def _compared(
    group: pd.DataFrame, every: pd.DataFrame, name: str, estimate: LifeEstimate, *, look_ahead: float, kind: str
) -> dict[str, float]:
    """Return what B10 would be from the lives born in the log alone, and with weak removals taken another way."""
    if estimate.average is None:
        return {}

    def b10(other: str, births: str) -> float:
        lives = lives_of(group, ending=other, look_ahead_years=look_ahead, like=every)
        return quick_b10(lives, name, births=births)

    compared = {"b10_born_in_log": b10(kind, BIRTHS[1])}
    if (group["ended"] == "weak").any():
        ways = {"b10_weak_failed": ENDINGS[1], "b10_weak_ignored": ENDINGS[2]}
        compared |= {column: b10(other, estimate.births) for column, other in ways.items()}
    return compared


def _excluded(frame: pd.DataFrame, births: str) -> dict[str, int]:
    lost = int((frame["birth"] == "lost").sum())
    left = {f"stretches of life after a gap of the log of over {LONGEST_GAP_DAYS} days": lost} if lost else {}
    if births == BIRTHS[1]:
        unknown = int(frame["birth"].isin(["bounded", "unknown", "carried"]).sum())
        left |= {"lives not seen from their birth on": unknown} if unknown else {}
    return left


def _notes(table: pd.DataFrame, births: str, endings: tuple[str, ...], look_ahead: float) -> list[str]:
    notes = []
    if births == BIRTHS[0]:
        notes.append(
            "Parts in place before the log began are of unknown age: they count as one of a line of parts since their "
            "unit was new, of the same law and under the same habit of changing parts early as in the log."
        )
    else:
        notes.append(
            "Only parts fitted while the log was kept are used; they sit in units that needed one, so that where units "
            "differ their lives read short."
        )
    if ENDINGS[0] in endings and float(table["weak"].sum()) > 0:
        notes.append(
            f"A part removed as weak is taken to fail within the following {look_ahead:g} years; b10_weak_failed takes "
            "it as failed that day, b10_weak_ignored as removed sound, which reads too long."
        )
    few = int(((table["model"] == "average") & table["weight"].isna()).sum())
    if few:
        notes.append(
            f"{few} of {int((table['model'] == 'average').sum())} groups have too few failures for a law: bounds only."
        )
    notes.append("Ages are those by which parts would have failed with every other reason for a change taken away.")
    return notes

"""How long do parts last, and who wears out or dies young? By component, model family, lot or any equipment column."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import pandas as pd

from fleet.analysis.life_chosen import BIRTHS
from fleet.analysis.life_columns import columns_for
from fleet.analysis.life_data import ENDINGS, LONGEST_GAP_DAYS, LOOK_AHEAD_YEARS, read_lives
from fleet.analysis.life_draws import REFITS
from fleet.analysis.life_groups import INTERVALS, POOLING, EstimatedGroup, LifeQuestion, compare_b10, estimate_groups
from fleet.analysis.life_kinds import kind_factors, kinds_within
from fleet.analysis.life_pooling import OTHER_GROUPS
from fleet.analysis.life_rows import estimate_rows
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


_WEIGHED = "kinds of units weighed by their number"


def estimate_life(
    histories: Histories,
    *,
    by: Sequence[str] = (),
    component: str | None = None,
    level: float = LEVEL,
    ending: str = "failed",
    births: str = "any",
    look_ahead_years: float = LOOK_AHEAD_YEARS,
    pooling: str = POOLING[0],
    interval: str = INTERVALS[0],
    seed: int = 0,
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
    pooling : str
        ``partial``: a component's groups lean on each other as far as they are alike, which small groups need most; or
        ``none``: each stands alone.
    interval : str
        ``likelihood``: limits from the likelihood ratio; or ``bootstrap``: from 200 refits of each law under random
        weights of units, which allow for units that differ.
    seed : int
        What the bootstrap's weights are drawn by.

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
        If ``component``, ``ending``, ``births``, ``pooling`` or ``interval`` names nothing known.

    Notes
    -----
    Ages are calendar years since fitting. Other endings than the one asked about are taken out (censored): the ages are
    those at which parts would fail were they left alone. Parts removed as prevention, upgrade or for an unknown reason,
    units retired and the log's gaps and end are censored. See `fleet.analysis.life_curve` for the whole curve and for
    what share each cause ends.
    """
    kinds = ENDINGS if ending == "all" else (ending,)
    asked = [
        LifeQuestion(
            by=tuple(by),
            level=level,
            ending=kind,
            births=births,
            look_ahead_years=look_ahead_years,
            pooling=pooling,
            interval=interval,
            seed=seed,
        )
        for kind in kinds
    ]
    by, births = asked[0].by, asked[0].births
    frame = read_lives(histories, (*by, *kinds_within(by)))
    chosen = _components(frame, component)
    mended = mended_without_part(histories)
    rows: list[dict[str, Any]] = []
    used = 0
    for name in chosen:
        every = frame[frame["component"] == name]
        each = [_group_rows(every, name, one, mended.get(name, 0)) for one in asked]
        # a group's endings stand together
        rows += [row for same in zip(*each, strict=True) for some in same for row in some]
        used += sum(int(some[0]["spells"]) for some in each[0])
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
        n_used=used,
        notes=_notes(table, asked),
        excluded=_excluded(frame[frame["component"].isin(chosen)], births),
        settings={
            **asked[0].settings,
            "component": component,
            "ending": ending,
            "longest_gap_days": LONGEST_GAP_DAYS,
        },
    )


def mended_without_part(histories: Histories) -> dict[str, int]:
    """Return, by component, the failures that were mended without a new part: they end no life."""
    rows = histories.database.rows(
        "select component, count(*) from history.chain where counted and not part_fitted group by component"
    )
    return {str(name): int(count) for name, count in rows}


def _components(frame: pd.DataFrame, component: str | None) -> list[str]:
    known = [c.name for c in COMPONENTS if c.is_part and c.counts_as_failure]
    if component is not None and component not in known:
        msg = f"{component!r} is not a component that has a part; choose from {', '.join(known)}"
        raise AnalysisError(msg)
    seen = set(frame["component"].unique())
    return [name for name in known if name in seen and component in (None, name)]


def _group_rows(every: pd.DataFrame, name: str, asked: LifeQuestion, mended: int) -> list[list[dict[str, Any]]]:
    """Return the rows of each group of a component for one ending."""
    groups = estimate_groups(every, name, asked)
    compared = _compared(groups, every, name, asked)
    made = []
    kinds = kind_factors(every, name, asked, groups)
    for one, more, factors in zip(groups, compared, kinds, strict=True):
        label = {"component": name, **one.key, "ending": asked.ending}
        rows = estimate_rows(one, key=label, level=asked.level, mended=mended)
        rows[0] |= more if one.estimate.average is not None else {}
        rows[0] |= _moved(rows[0], factors)
        made.append(rows)
    return made


def _moved(row: dict[str, Any], factors: Mapping[str, float]) -> dict[str, Any]:
    """Return what changes in a row when kinds of units are weighed by their units."""
    moved: dict[str, Any] = {}
    for name, age in row.items():
        column = name.partition("_")[0]
        if column in factors and name not in ("b10_least", "b10_greatest"):
            moved[name] = age * factors[column]
    if moved:
        words = {"b10": "B10", "median": "the median"}
        said = ", ".join(f"{factors[c]:.2f} times {word}" for c, word in words.items() if c in factors)
        note = f"{factors['kinds']:.0f} {_WEIGHED}: {said} of one law for all"
        moved["note"] = "; ".join(part for part in (row["note"], note) if part)
    return moved


def _compared(
    groups: list[EstimatedGroup], every: pd.DataFrame, name: str, asked: LifeQuestion
) -> list[dict[str, float]]:
    """Return what B10 would be from the lives born in the log alone, and with weak removals taken another way."""
    if all(one.estimate.average is None for one in groups):
        return [{} for _ in groups]
    others = {"b10_born_in_log": replace(asked, births=BIRTHS[1])}
    if (every["ended"] == "weak").any():
        others |= {
            "b10_weak_failed": replace(asked, ending=ENDINGS[1]),
            "b10_weak_ignored": replace(asked, ending=ENDINGS[2]),
        }
    found = {column: compare_b10(every, name, other, groups) for column, other in others.items()}
    rows = [{column: ages[nth] for column, ages in found.items()} for nth in range(len(groups))]
    for row, one in zip(rows, groups, strict=True):
        if not (one.frame["ended"] == "weak").any():
            row.pop("b10_weak_failed", None)
            row.pop("b10_weak_ignored", None)
    return rows


def _excluded(frame: pd.DataFrame, births: str) -> dict[str, int]:
    lost = int((frame["birth"] == "lost").sum())
    left = {f"stretches of life after a gap of the log of over {LONGEST_GAP_DAYS} days": lost} if lost else {}
    if births == BIRTHS[1]:
        unknown = int(frame["birth"].isin(["bounded", "unknown", "carried"]).sum())
        left |= {"lives not seen from their birth on": unknown} if unknown else {}
    return left


def _notes(table: pd.DataFrame, asked: Sequence[LifeQuestion]) -> list[str]:
    first, endings = asked[0], [one.ending for one in asked]
    notes = []
    if first.births == BIRTHS[0]:
        notes.append(
            "Parts in place before the log began are of unknown age: they count as one of a line of parts since their "
            "unit was new, of the same law and under the same habit of changing parts early as in the log."
        )
    else:
        notes.append(
            "Only parts fitted while the log was kept are used; they sit in units that needed one, so that where units "
            "differ their lives read short."
        )
    if table["note"].str.contains(_WEIGHED, regex=False).any():
        notes.append(
            "Where kinds of units (model_family, compressor_type) are taken together, those whose parts last less long "
            "begin more of the lives seen: B10 and the median are those of the kinds' own laws, weighed by units, with "
            "limits as wide as one law for all has; the rows of laws and b10_least to b10_greatest are of that one."
        )
    if ENDINGS[0] in endings and float(table["weak"].sum()) > 0:
        notes.append(
            f"A part removed as weak is taken to fail within the following {first.look_ahead_years:g} years; "
            "b10_weak_failed takes it as failed that day, b10_weak_ignored as removed sound, which reads too long."
        )
    if table["prior"].str.startswith(OTHER_GROUPS).any():
        notes.append(
            "Groups of one component lean on each other as far as they are alike: column prior says what the others "
            "told of each before its own lives were counted, and all share the laws' weights; with pooling none each "
            "stands alone."
        )
    if first.interval == INTERVALS[1]:
        notes.append(f"Limits come from {REFITS} refits of each law under random weights of units, seed {first.seed}.")
    few = int(((table["model"] == "average") & table["weight"].isna()).sum())
    if few:
        notes.append(
            f"{few} of {int((table['model'] == 'average').sum())} groups have too few failures for a law: bounds only."
        )
    notes.append("Ages are those by which parts would have failed with every other reason for a change taken away.")
    return notes

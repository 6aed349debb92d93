"""What share of new parts is bad out of the box? Parts tested before fitting, by part number and lot.

A part is bad where one of its sections reads outside its rating by more than the tolerance, or is open; a start
capacitor where it reads outside its printed range. A meter that reads low condemns good parts, so every verdict is
also given as it would stand had each meter read true. Sources: exact limits of C. J. Clopper and E. S. Pearson,
Biometrika 26 (1934); exact conditional comparison of two shares (R. A. Fisher), mid-P; Y. Benjamini and Y. Hochberg,
J. R. Stat. Soc. B 57 (1995) (all from memory).
"""

from __future__ import annotations

from collections.abc import Hashable, Iterator, Mapping
from dataclasses import replace

import numpy as np
import pandas as pd
from scipy import stats

from fleet.analysis.lot_test import large_enough
from fleet.analysis.new_part_verdicts import judge_new_readings, parts_tested
from fleet.analysis.poisson import FloatArray, benjamini_hochberg, check_level, clopper_pearson
from fleet.analysis.sampling_plans import sample_needed
from fleet.answer import Answer, AnswerColumn
from fleet.errors import AnalysisError
from fleet.histories.answers import answer_from
from fleet.histories.build import Histories
from fleet.settings import LEVEL, TOLERANCE_PCT

FALSE_DISCOVERY = 0.10
"""Of the part numbers (and of the lots) named, at most this share may be named by chance."""

LIMIT_SHARE = 0.05
"""Share bad below which a lot is trusted, unless told otherwise (this project's own choice)."""

COLUMNS = (
    AnswerColumn(name="by", kind="text", meaning="all, component, part_no or lot"),
    AnswerColumn(name="component", kind="text", meaning="what it is a part of; blank for all"),
    AnswerColumn(name="part_no", kind="text", meaning="the part number fitted on the visit of the test"),
    AnswerColumn(name="lot", kind="text", meaning="its date or lot code"),
    AnswerColumn(name="tested", kind="count", meaning="new parts tested before fitting"),
    AnswerColumn(name="bad", kind="count", meaning="those outside their rating, or open"),
    AnswerColumn(name="share", kind="number", meaning="bad ÷ tested"),
    AnswerColumn(name="low", kind="number", meaning="low end of share (exact)"),
    AnswerColumn(name="high", kind="number", meaning="high end of share (exact)"),
    AnswerColumn(name="below", kind="count", meaning="bad parts with a section below its tolerance"),
    AnswerColumn(name="above", kind="count", meaning="bad parts with a section above it, none below"),
    AnswerColumn(name="open", kind="count", meaning="bad parts with an open section"),
    AnswerColumn(name="bad_true_meter", kind="count", meaning="those that would be bad had each meter read true"),
    AnswerColumn(
        name="p_value",
        kind="number",
        meaning="chance of so many bad (meters set true) were it like the other parts of its component",
    ),
    AnswerColumn(name="alert", kind="yesno", meaning="more bad than the others, false discovery 10 %"),
    AnswerColumn(
        name="to_trust", kind="count", meaning="tests in all, with these bad, that show a share below the limit"
    ),
    AnswerColumn(name="more_tests", kind="count", meaning="further tests, none of them bad, that are still missing"),
    AnswerColumn(name="property", kind="text", meaning="blank: all together"),
    AnswerColumn(name="note", kind="text", meaning="what to know about this row"),
)

_METHOD = (
    "Share of parts tested before fitting with a section outside its rating or open, exact binomial limits; part "
    "numbers and lots against the others of their component by the exact conditional test (mid-P), false discovery "
    "10 % among those large enough; numbers to test from the exact one-sided bound."
)


def count_bad_new_parts(
    histories: Histories,
    *,
    level: float = LEVEL,
    limit_share: float = LIMIT_SHARE,
    tolerance_pct: float | None = None,
) -> Answer:
    """Say what share of new parts was bad when tested, by part number and lot, and how many tests earn trust.

    Parameters
    ----------
    histories : Histories
        The log as known on its as-of day.
    level : float
        Two-sided level of ``low`` and ``high``, one-sided level of ``to_trust``.
    limit_share : float
        A part number or lot is trusted when its share bad is shown to lie below this.
    tolerance_pct : float, optional
        Judge every run capacitor by this tolerance; else by the one marked for the unit, 6 % where none is.

    Returns
    -------
    Answer
        One row for all parts, then one a component, part number and lot with a test (`COLUMNS`).

    Raises
    ------
    AnalysisError
        When the level, the limit or the tolerance is out of range.

    Notes
    -----
    The rating is the catalogue's for the part fitted on that visit; the unit's plate where the catalogue has none. The
    sections of a dual capacitor are one part. A part set aside after a bad test leaves no line of its own among the
    parts used, so it is counted under the part (and lot) fitted instead of it. Zeros nothing supports, absurd readings
    and readings taken running are left out.
    """
    check_level(level)
    if tolerance_pct is not None and not 0 < tolerance_pct < 100:
        msg = f"tolerance_pct = {tolerance_pct} must lie between 0 and 100 percent"
        raise AnalysisError(msg)
    needed = sample_needed(limit_share, level=level)
    judged = judge_new_readings(histories, level=level, tolerance_pct=tolerance_pct)
    parts = parts_tested(judged)
    names = [*(column.name for column in COLUMNS), "least_p"]
    table = _with_alerts(pd.DataFrame(list(_rows(parts, level, limit_share)), columns=names))
    answer = answer_from(
        histories,
        table,
        COLUMNS,
        name="new parts",
        method=_METHOD,
        n_used=len(parts),
        settings={"level": level, "limit_share": limit_share, "tolerance_pct": tolerance_pct or "as marked"},
    )
    # a test of a part needs no time at risk, so what is said of that doesn't belong here
    return replace(
        answer,
        notes=tuple(_notes(table, parts, judged, needed=needed, limit_share=limit_share, level=level)),
        excluded={str(why): int(n) for why, n in judged["use"].value_counts().items() if why != "yes"},
    )


def _rows(parts: pd.DataFrame, level: float, limit_share: float) -> Iterator[dict[str, object]]:
    if parts.empty:
        return
    yield _row({"by": "all"}, parts, None, level=level, limit_share=limit_share)
    for component, own in parts.groupby("component", sort=True):
        yield _row({"by": "component", "component": component}, own, None, level=level, limit_share=limit_share)
    for by in ("part_no", "lot"):
        keys = ["component", "part_no"] + (["lot"] if by == "lot" else [])
        for names, own in parts.dropna(subset=keys).groupby(keys, sort=True):
            rest = parts.loc[(parts["component"] == own["component"].iloc[0]) & ~parts.index.isin(own.index)]
            yield _row(
                {"by": by, **dict(zip(keys, names, strict=True))}, own, rest, level=level, limit_share=limit_share
            )


def _row(
    keys: Mapping[str, Hashable], own: pd.DataFrame, rest: pd.DataFrame | None, *, level: float, limit_share: float
) -> dict[str, object]:
    n, bad = len(own), int(own["bad"].sum())
    limits = clopper_pearson(bad, n, level)
    enough = sample_needed(limit_share, bad=bad, level=level)
    p_value, least, note = np.nan, np.nan, ""
    if rest is not None and rest.empty:
        note = "no other part of the component was tested"
    elif rest is not None and not own["bad_true"].any() and not rest["bad_true"].any():
        note = "no part of the component is bad, meters set true: nothing to compare"
    elif rest is not None:
        p_value, least = more_bad_midp(int(own["bad_true"].sum()), n, int(rest["bad_true"].sum()), len(rest))
    return {
        **{name: keys.get(name, "") for name in ("by", "component", "part_no", "lot")},
        "tested": n,
        "bad": bad,
        "share": bad / n,
        "low": limits.low,
        "high": limits.high,
        "below": int(own["below"].sum()),
        "above": int(own["above"].sum()),
        "open": int(own["open"].sum()),
        "bad_true_meter": int(own["bad_true"].sum()),
        "p_value": p_value,
        "least_p": least,
        "to_trust": enough,
        "more_tests": max(0, enough - n),
        "property": "",
        "note": note,
    }


def more_bad_midp(bad: int, tested: int, others_bad: int, others_tested: int) -> tuple[float, float]:
    """Return the mid-P chance that so many of a group are bad were it like the others, and the least it could be.

    Notes
    -----
    Given how many are bad altogether, those of the group are hypergeometric (Fisher's exact test, one side).
    """
    law = stats.hypergeom(tested + others_tested, bad + others_bad, tested)
    most = min(tested, bad + others_bad)
    p_value, least = (float(law.sf(k) + 0.5 * law.pmf(k)) for k in (bad, most))
    return min(p_value, 1.0), min(least, 1.0)


def _with_alerts(table: pd.DataFrame) -> pd.DataFrame:
    """Name the part numbers, and the lots, that are bad more often than the others of their component."""
    table["alert"] = "no"
    for by in ("part_no", "lot"):
        rows = table.index[table["by"] == by]
        p_values: FloatArray = table.loc[rows, "p_value"].to_numpy(dtype=np.float64)
        able = large_enough(table.loc[rows, "least_p"].to_numpy(dtype=np.float64), FALSE_DISCOVERY)
        named = benjamini_hochberg(np.where(able, p_values, np.nan), FALSE_DISCOVERY)
        table.loc[rows[named], "alert"] = "yes"
        small = rows[~able & ~np.isnan(p_values)]
        table.loc[small, "note"] = "too few tested, or too few bad anywhere, to be told from chance"
    order = pd.Categorical(table["by"], ["all", "component", "part_no", "lot"], ordered=True)
    return (
        table.assign(order=order)
        .sort_values(
            ["order", "p_value", "bad", "component", "part_no", "lot"], ascending=[True, True, False, True, True, True]
        )
        .drop(columns="order")
    )


def _notes(
    table: pd.DataFrame, parts: pd.DataFrame, judged: pd.DataFrame, *, needed: int, limit_share: float, level: float
) -> list[str]:
    if table.empty:
        return [
            "No new part was tested before fitting: read each new capacitor on the bench and write it down as `new` "
            f"to see what share is bad; {needed} good ones in a row would show under {100 * limit_share:g} % bad."
        ]
    one, two = (sample_needed(limit_share, bad=bad, level=level) for bad in (1, 2))
    return [
        *_meter_notes(parts, judged),
        *_named(table),
        f"To show at {100 * level:g} % that under {100 * limit_share:g} % of a lot is bad, test {needed} with none "
        f"bad, {one} with one bad or {two} with two; settle the number before testing.",
        *_basis_notes(parts, judged),
    ]


def _meter_notes(parts: pd.DataFrame, judged: pd.DataFrame) -> Iterator[str]:
    spared = int((parts["bad"] & ~parts["bad_true"]).sum())
    caught = int((~parts["bad"] & parts["bad_true"]).sum())
    blind = int(parts["no_meter"].sum())
    if blind == len(parts):
        yield "No meter's bias is known, so a meter that reads low may have condemned good parts unseen."
        return
    used = judged.loc[judged["use"] == "yes"]
    turned = used.loc[used["verdict"] != used["verdict_true"]].groupby("meter")["bias"].agg(["size", "first"])
    who = ", ".join(f"{meter} ({row['first']:+.1f} %)" for meter, row in turned.iterrows())
    yield (
        f"At the meters' estimated bias {spared} of {int(parts['bad'].sum())} bad verdicts would turn good and "
        f"{caught} good ones bad{f'; meters concerned: {who}' if who else ''}. Bias is against the average meter, and "
        "one reading near a limit doesn't decide: measure again with another meter before sending a part back."
    )
    if blind:
        yield f"{blind} parts were tested with a meter of no known bias or name; their verdicts stand as read."


def _named(table: pd.DataFrame) -> Iterator[str]:
    for by, what in (("part_no", "part number"), ("lot", "lot")):
        rows = table.loc[table["by"] == by]
        named = rows.loc[rows["alert"] == "yes"]
        if len(named):
            listed = ", ".join(f"{p} {lot}".strip() for p, lot in zip(named["part_no"], named["lot"], strict=True))
            yield f"Bad more often than the others beyond chance, meters set true: {what} {listed}."
        elif len(rows):
            yield f"No {what} of {len(rows)} is bad more often than the others beyond chance, meters set true."


def _basis_notes(parts: pd.DataFrame, judged: pd.DataFrame) -> Iterator[str]:
    used = judged.loc[judged["use"] == "yes"]
    if parts["assumed"].any():
        yield (
            f"{int(parts['assumed'].sum())} parts were judged by a tolerance of {TOLERANCE_PCT:g} %, as none is marked "
            "for their unit (usual marking; trade habit)."
        )
    marked = used.loc[used["tolerance"].notna() & ~used["assumed"], "tolerance"].unique()
    if len(marked):
        said = ", ".join(f"{x:g} %" for x in sorted(marked))
        yield (
            f"Run capacitors are judged by the tolerance marked for their unit ({said}): what is printed on the new "
            "part itself isn't in the log."
        )
    if parts["unlisted"].any():
        yield (
            f"{int(parts['unlisted'].sum())} parts were judged by the rating on the unit's plate, as no part of a "
            "listed rating is written down for their visit."
        )
    if parts["mixed"].any():
        yield f"{int(parts['mixed'].sum())} parts could be of either of two lots fitted on that visit, so of none here."
    yield (
        "A test names no part: it counts under the part and lot fitted on that visit, even where the one tested was "
        "set aside."
    )

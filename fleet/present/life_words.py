"""How would a person say how long parts last? Sentences from the answers life, life curve and life ends.

No number is estimated here: what is said is read off the answers' own rows. Where there are too few failures the bound
that can be given is said instead.
"""

from __future__ import annotations

from collections.abc import Sequence
from types import MappingProxyType

import pandas as pd

from fleet.answer import Answer
from fleet.present.life_groups import (
    UNKNOWN,
    averaged,
    fitted,
    group_name,
    grouping,
    kind_of,
    last_ends,
    plural,
    readable,
    years,
)
from fleet.present.numbers import about, counted, finite, listed, percent

_ENDS = MappingProxyType({"failed or weak": "fail or go weak"})
"""How a life's end is called where it isn't a plain failure."""

_CAUSES = MappingProxyType(
    {
        "failed": "fail",
        "weak": "are changed as weak",
        "preventive": "are changed as prevention",
        "upgrade": "are changed for a better part",
        "unknown": "are changed, nobody knows why",
        "unit retired": "go with their unit",
    }
)


def life_sentence(answer: Answer) -> str:
    """Say by what age a tenth of the parts fail: of one component, of the soonest group, or of the most frequent."""
    rows, by = averaged(answer), grouping(answer)
    if rows.empty:
        return _none_there(answer)
    if len(set(rows["component"])) > 1:
        return _several(rows, by)
    named = _named_rows(rows, by)
    known = fitted(named)
    if len(named) > 1 and len(known) > 1:
        return _groups(known, by)
    row = (known if len(known) else named).sort_values("part_years", ascending=False, kind="stable").iloc[0]
    of = group_name(row, by)
    said = _one(row, f" of {of}" if of else "")
    if len(named) > 1:
        which = "it alone has" if len(known) else "no group by that has"
        return f"{said} Of {counted(len(named), 'group')} by {kind_of(by)} {which} failures enough for a law."
    return said


def curve_sentence(answer: Answer) -> str:
    """Say what share still works where the curve ends, and what the fitted laws say there."""
    component, by = str(answer.settings["component"]), grouping(answer)
    known = answer.table[answer.table["age"].notna()]
    if known.empty:
        return f"Too few {plural(component)} of known age were watched for a curve."
    groups = [rows for _, rows in known.groupby(list(by), sort=False)] if by else [known]
    most = max(groups, key=lambda rows: rows["at_risk"].iloc[0])
    row = readable(most).iloc[-1]
    named = group_name(row, by)
    who = f"{plural(component)} of {named}" if named else plural(component)
    age = about(row["age"], unit="years").removeprefix("about ")
    law = finite(row["average"])
    said = f"Of the {who} {_share(row)} still work after {age}"
    said += f", where the fitted laws say {percent(law)}." if law is not None else "; there are too few for a law."
    if len(most) == 1:
        known_age = counted(row["at_risk"], "part")
        said = f"None of the {known_age} of known age failed for as long as enough {who} were watched."
    more = len(groups) - 1
    return said if not more else f"{said} Curves of {counted(more, 'more group')} by {kind_of(by)} follow."


def ends_sentence(answer: Answer) -> str:
    """Say what becomes of a hundred parts: how many each cause ends by the oldest age that was watched enough."""
    component, by = str(answer.settings["component"]), grouping(answer)
    rows = last_ends(answer)
    if rows.empty:
        return f"Too few {plural(component)} were watched from their first day to say what ends their lives."
    age = years(rows["age"].iloc[0])
    shown = rows[(100 * rows["share"]).round() >= 1].sort_values("share", ascending=False, kind="stable")
    parts = [
        f"{round(100 * share)} {_CAUSES[cause]}" for share, cause in zip(shown["share"], shown["cause"], strict=True)
    ]
    who = group_name(rows.iloc[0], by)
    said = f"Of a hundred {plural(component)}{f' of {who}' if who else ''}"
    if not parts:
        return f"{said} hardly one comes to its end within {age}."
    return f"{said} about {listed(parts, limit=len(parts))} within {age}; the others serve on."


def least_ages(row: pd.Series) -> str:
    """Say the ages no sooner than which a tenth and half fail, where there is no estimate; blank where there is one."""
    tenth, half = finite(row["b10_low"]), finite(row["median_low"])
    if finite(row["b10"]) is not None or tenth is None or half is None:
        return ""
    ages = [about(age, unit="years").removeprefix("about ") for age in (tenth, half)]
    return f"a tenth fail no sooner than {ages[0]}, half no sooner than {ages[1]}"


def how_sure(answer: Answer) -> str:
    """Say what the sentence rests on: failures and years watched, wear, and what was assumed."""
    rows = averaged(answer)
    failures, watched = rows["failures"].sum(), rows["part_years"].sum()
    if not failures:
        return ""
    said = [f"It rests on {counted(failures, 'failure')} in {counted(watched, 'year')} of parts watched."]
    if len(rows) > 1:
        known = len(fitted(rows))
        said.append(
            f"{counted(known, 'group')} of {len(rows)} {'has' if known == 1 else 'have'} failures enough for a law. "
            "The first and the last of several lie apart by luck alone too: trust an order only where intervals stay "
            "well apart."
        )
    row = rows.iloc[0]
    if len(rows) == 1 and finite(row["shape_low"]) is not None and row["shape_low"] > 1:
        wear = about(row["shape"], row["shape_low"], row["shape_high"])
        said.append(f"They wear out: the older the part, the likelier it fails (shape {wear}).")
    if len(rows) == 1 and row["prior"]:
        said.append(_leans_on(str(row["prior"])))
    born = finite(row["b10_born_in_log"])
    if len(rows) == 1 and born is not None and row["births"] == "any":
        alone = about(born, unit="years")
        said.append(f"Parts fitted while the log was kept would alone give {alone} for the first tenth.")
    return " ".join(said)


def _leans_on(prior: str) -> str:
    others = "from the component's other groups: "
    if prior.startswith(others):
        return f"The answer leans on what the component's other groups tell: {prior.removeprefix(others)}."
    return f"Failures are few, so the answer leans on what is taken for granted beforehand: {prior}."


def weak_ways(answer: Answer) -> str:
    """Say the answer of one group with weak parts counted three ways; blank where none was changed as weak."""
    rows = averaged(answer)
    if len(rows) != 1 or rows["ending"].iloc[0] != "failed":
        return ""
    row, ahead = rows.iloc[0], float(answer.settings["look_ahead_years"])
    if not row["weak"] > 0 or finite(row["b10_weak_failed"]) is None or finite(row["b10_weak_ignored"]) is None:
        return ""
    within = "a year" if ahead == 1 else f"{ahead:g} years"
    shown, early, late = (about(row[name], unit="years") for name in ("b10", "b10_weak_failed", "b10_weak_ignored"))
    return (
        f"{counted(row['weak'], 'part was', 'parts were')} changed while weak, before failing. Taken to fail within "
        f"{within} of that day, as above, a tenth fail within {shown}; taken as failed that day, {early}; taken as "
        f"sound, {late}, which reads too long."
    )


def remarks(answer: Answer) -> list[str]:
    """Return what must be said with the answer of one group: its note as whole sentences; nothing for several."""
    rows = averaged(answer)
    clauses = str(rows["note"].iloc[0]).split("; ") if len(rows) == 1 else []
    by_law = ("by law B10 is", "depending on the law fitted, a tenth fail within")
    plain = [clause.replace(*by_law).replace("B10", "the age of the first tenth") for clause in clauses]
    return [f"{clause[:1].upper()}{clause[1:]}." for clause in plain if clause]


def _named_rows(rows: pd.DataFrame, by: Sequence[str]) -> pd.DataFrame:
    """Return the groups the log names, or all where it names none."""
    named = rows[(rows[list(by)] != UNKNOWN).all(axis=1)] if by else rows
    return named if len(named) else rows


def _fail(row: pd.Series) -> str:
    return _ENDS.get(str(row["ending"]), "fail")


def _tenth(row: pd.Series) -> str:
    return about(row["b10"], row["b10_low"], row["b10_high"], unit="years")


def _one(row: pd.Series, of: str) -> str:
    """Say one component's or group's own answer."""
    if finite(row["weight"]) is None or finite(row["b10"]) is None:
        return _few(row, of)
    said = f"A tenth of the {plural(row['component'])}{of} {_fail(row)} within {_tenth(row)}"
    note = str(row["note"])
    if "B10 lies beyond" in note:
        return f"{said}, which is longer than any was watched."
    if finite(row["median"]) is None or "the median lies beyond" in note:
        return f"{said}; no part was watched long enough to say when half have."
    return f"{said}, and half within {about(row['median'], row['median_low'], row['median_high'])}."


def _few(row: pd.Series, of: str) -> str:
    """Say that failures are too few, and the bound that can be given."""
    n = int(row["failures"])
    who = plural(row["component"])
    what = f"Only {n} of the {who}{of}" if n else f"None of the {who}{of}"
    watched = counted(row["part_years"], "year")
    said = (
        f"{what} {'was' if n < 2 else 'were'} changed for a failure in {watched} of parts watched: too few to say how"
    )
    if finite(row["b10"]) is not None:
        return f"{said} they wear; wear as usual assumed, a tenth fail within {_tenth(row)}."
    # the note carries the exact bound of a steady rate, which needs no failure
    rate = next((clause for clause in str(row["note"]).split("; ") if clause.startswith("at most")), "")
    bounds = " and ".join(filter(None, (rate, least_ages(row))))
    return f"{said} long they last. {bounds[:1].upper()}{bounds[1:]}." if bounds else f"{said} long they last."


def _several(rows: pd.DataFrame, by: Sequence[str]) -> str:
    """Say the answer for the component that fails most, with the next beside it."""
    known = fitted(rows).sort_values("failures", ascending=False, kind="stable")
    if known.empty:
        most = rows.sort_values("part_years", ascending=False, kind="stable").iloc[0]
        return _few(most, "")
    lead = known.iloc[0]
    who = group_name(lead, by)
    said = (
        f"A tenth of the {plural(lead['component'])}{f' of {who}' if who else ''} {_fail(lead)} within {_tenth(lead)}"
    )
    others = known[(known["component"] != lead["component"])]
    if others.empty:
        return f"{said}."
    row = others.iloc[0]
    tenth = about(row["b10"], row["b10_low"], row["b10_high"])
    if row["b10_low"] > lead["b10_high"]:
        return f"{said}; {plural(row['component'])} last longer: {tenth}."
    if row["b10_high"] < lead["b10_low"]:
        return f"{said}; {plural(row['component'])} go sooner: {tenth}."
    return f"{said}; {plural(row['component'])} can't be told apart from them: {tenth}."


def _groups(known: pd.DataFrame, by: Sequence[str]) -> str:
    """Say which group goes first and which lasts longest, and whether their intervals part."""
    ranked = known.sort_values("b10", kind="stable")
    first, last = ranked.iloc[0], ranked.iloc[-1]
    what = plural(first["component"])
    tenth = about(last["b10"], last["b10_low"], last["b10_high"])
    said = f"{what[:1].upper()}{what[1:]} by {kind_of(by)}: {group_name(first, by)} first, where a tenth {_fail(first)}"
    said += f" within {_tenth(first)}; {group_name(last, by)} last, {tenth}"
    high, low = finite(first["b10_high"]), finite(last["b10_low"])
    return f"{said}." if high is not None and low is not None and high < low else f"{said}; chance could explain that."


def _none_there(answer: Answer) -> str:
    component = str(answer.settings.get("component") or "")
    what = plural(component) if component else "part in service"
    return f"The log knows of no {what}, so nothing can be said about how long they last."


def _share(row: pd.Series) -> str:
    share, low, high = (finite(row[name]) for name in ("survival", "low", "high"))
    if share is None or low is None or high is None or share >= 1:
        return "all" if share == 1 else percent(share)
    return f"about {100 * share:.0f} % ({100 * low:.0f} to {100 * high:.0f})"

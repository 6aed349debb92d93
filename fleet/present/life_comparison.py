"""How would a person say whose parts last longer? The sentence of the answer life comparison."""

from __future__ import annotations

import pandas as pd

from fleet.answer import Answer
from fleet.present.life_groups import group_name, grouping, kind_of, plural
from fleet.present.numbers import about, counted, listed

MOST_NAMED = 3


def comparison_sentence(answer: Answer) -> str:
    """Say which groups' parts last longer or less long than others', by what ratio, or that chance allows it all."""
    by = grouping(answer)
    compared = answer.table[answer.table["ratio"].notna()]
    if compared.empty:
        return f"Not enough data: no group by {kind_of(by)} has failures enough to compare how long its parts last."
    differ = compared[compared["differs"] == "yes"].sort_values("p_value", kind="stable")
    tried = counted(len(compared), "comparison")
    if differ.empty:
        return f"No group by {kind_of(by)} has parts that last longer or less long than chance allows, of {tried}."
    said = [_one(row, by) for _, row in differ.head(MOST_NAMED).iterrows()]
    more = len(differ) - len(said)
    named = listed(said, limit=MOST_NAMED)
    return f"{named[:1].upper()}{named[1:]}{f'; {more} more differ' if more else ''}, of {tried}."


def _one(row: pd.Series, by: tuple[str, ...]) -> str:
    ratio = about(row["ratio"], row["ratio_low"], row["ratio_high"])
    whose = f"{plural(str(row['component']))} of {group_name(row, by)}"
    return f"{whose} last {ratio} times as long as those of {row['against']}"

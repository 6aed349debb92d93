"""Whose parts last longer, in words."""

import datetime as dt

import pandas as pd

from fleet.analysis.life_compare import COLUMNS
from fleet.answer import Answer, AnswerColumn
from fleet.present.life_comparison import comparison_sentence


def comparison(rows):
    group = AnswerColumn(name="model_family", kind="text", meaning="grouping column")
    columns = (*COLUMNS[:2], group, *COLUMNS[2:])
    blank = {"property": "", "component": "contactor", "against": "the others", "failures": 9, "part_years": 100.0}
    table = pd.DataFrame([blank | row for row in rows]).reindex(columns=[c.name for c in columns])
    return Answer(
        name="life comparison", as_of=dt.date(2025, 12, 31), table=table, columns=columns, n_used=9, method="",
        settings={"by": ("model_family",)},
    )  # fmt: skip


SHORT = {
    "model_family": "M3R",
    "ratio": 0.49,
    "ratio_low": 0.39,
    "ratio_high": 0.61,
    "p_value": 0.001,
    "differs": "yes",
}
ALIKE = {"model_family": "K4R", "ratio": 1.1, "ratio_low": 0.9, "ratio_high": 1.4, "p_value": 0.4, "differs": "no"}


def test_groups_that_differ_come_with_their_ratio():
    said = comparison_sentence(comparison([ALIKE, SHORT]))
    assert said.startswith("Contactors of M3R last about 0.49, 0.39 to 0.61 times as long as those of the others")
    assert said.endswith("of 2 comparisons.")


def test_what_chance_allows_and_what_is_too_little_is_said():
    assert comparison_sentence(comparison([ALIKE])) == (
        "No group by model family has parts that last longer or less long than chance allows, of 1 comparison."
    )
    assert comparison_sentence(comparison([{"model_family": "K4R"}])).startswith("Not enough data: no group by model")

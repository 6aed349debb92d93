"""The columns of the answer ``life``, each with its meaning."""

from __future__ import annotations

from collections.abc import Sequence

from fleet.answer import AnswerColumn


def _aged(name: str, meaning: str) -> tuple[AnswerColumn, AnswerColumn, AnswerColumn]:
    return (
        AnswerColumn(name=name, kind="number", meaning=meaning, unit="years"),
        AnswerColumn(name=f"{name}_low", kind="number", meaning=f"lower bound of {name}", unit="years"),
        AnswerColumn(name=f"{name}_high", kind="number", meaning=f"upper bound of {name}; blank = none", unit="years"),
    )


COLUMNS = (
    AnswerColumn(name="property", kind="text", meaning="blank = all together"),
    AnswerColumn(name="component", kind="text", meaning="whose parts"),
    AnswerColumn(name="ending", kind="text", meaning="what ends a life: failed, failed or weak, failed, weak ignored"),
    AnswerColumn(name="model", kind="text", meaning="the law; average = all of them by their weights"),
    AnswerColumn(name="spells", kind="count", meaning="lives used, or stretches of them"),
    AnswerColumn(name="failures", kind="count", meaning="lives used that ended in a failure"),
    AnswerColumn(name="weak", kind="count", meaning="lives used that ended by removal as weak"),
    AnswerColumn(name="part_years", kind="number", meaning="time watched", unit="part-years"),
    AnswerColumn(name="shape", kind="number", meaning="above 1 wears out, below 1 dies young (average: the Weibull's)"),
    AnswerColumn(name="shape_low", kind="number", meaning="lower bound of the shape"),
    AnswerColumn(name="shape_high", kind="number", meaning="upper bound of the shape"),
    *_aged("scale", "scale of the law: 63 % have failed by it (Weibull, average), half (the others)"),
    *_aged("median", "age by which half have failed, other causes removed"),
    *_aged("b10", "age by which a tenth have failed, other causes removed"),
    AnswerColumn(
        name="most_per_year",
        kind="number",
        meaning="where failures are too few for a law: exact one-sided upper bound of a steady failure rate",
        unit="per part-year",
    ),
    AnswerColumn(name="weight", kind="number", meaning="Akaike weight of the law (average: 1; blank: nothing fitted)"),
    AnswerColumn(name="b10_least", kind="number", meaning="least B10 among the laws", unit="years"),
    AnswerColumn(name="b10_greatest", kind="number", meaning="greatest B10 among the laws", unit="years"),
    AnswerColumn(name="births", kind="text", meaning="any, or in the log: which lives the row rests on"),
    AnswerColumn(name="prior", kind="text", meaning="blank, or the weak prior added where failures are few"),
    AnswerColumn(
        name="b10_born_in_log", kind="number", meaning="averaged B10 from lives born in the log", unit="years"
    ),
    AnswerColumn(name="b10_weak_failed", kind="number", meaning="averaged B10, weak taken as failed", unit="years"),
    AnswerColumn(name="b10_weak_ignored", kind="number", meaning="averaged B10, weak taken as sound", unit="years"),
    AnswerColumn(name="curve_age", kind="number", meaning="last age with ten lives of known age at risk", unit="years"),
    AnswerColumn(name="curve_at_risk", kind="count", meaning="lives of known age at risk at that age"),
    AnswerColumn(name="curve_survival", kind="number", meaning="product-limit share still working at that age"),
    AnswerColumn(name="curve_low", kind="number", meaning="lower bound of that share"),
    AnswerColumn(name="curve_high", kind="number", meaning="upper bound of that share"),
    AnswerColumn(name="fitted_survival", kind="number", meaning="the same share by the row's law"),
    AnswerColumn(name="note", kind="text", meaning="why a cell is blank, what was assumed, what the choice changes"),
)
"""Every column but those grouped by, which follow ``component``."""


def columns_for(by: Sequence[str]) -> list[AnswerColumn]:
    """Return the columns of an answer grouped by ``by``."""
    columns = [c for c in COLUMNS if not (c.name == "property" and "property" in by)]
    place = [c.name for c in columns].index("component") + 1
    groups = [AnswerColumn(name=name, kind="text", meaning="grouping column") for name in by]
    return [*columns[:place], *groups, *columns[place:]]

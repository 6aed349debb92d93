"""Which buildings had more failures in a month than season and age lead one to expect?"""

from __future__ import annotations

import numpy as np
from scipy import special

from fleet.analysis.poisson import benjamini_hochberg
from fleet.answer import Answer, AnswerColumn
from fleet.histories.answers import answer_from
from fleet.histories.build import Histories
from fleet.store.database import read_sql

FALSE_DISCOVERY = 0.10
"""Of the building-months named, at most this share may be named by chance."""

COLUMNS = (
    AnswerColumn(name="property", kind="text", meaning="the complex"),
    AnswerColumn(name="building", kind="text", meaning="the building"),
    AnswerColumn(name="month", kind="text", meaning="calendar month, YYYY-MM"),
    AnswerColumn(name="observed", kind="count", meaning="failure chains of all components"),
    AnswerColumn(name="expected", kind="number", meaning="failures expected", unit="failures"),
    AnswerColumn(name="ratio", kind="number", meaning="observed over expected"),
    AnswerColumn(name="p_value", kind="number", meaning="chance of so many or more (exact Poisson, mid-P)"),
    AnswerColumn(name="alert", kind="yesno", meaning="more than chance allows, after false-discovery control"),
    AnswerColumn(name="note", kind="text", meaning="why a cell is blank"),
)

METHOD = (
    "Days at risk of each building and month times the fleet's failures a day of that calendar month and unit age "
    "(indirect standardization); exact Poisson mid-P; alerts after Benjamini-Hochberg at 10 %."
)


def compare_months(histories: Histories) -> Answer:
    """Compare each building's failures, month by month, with what season and age lead one to expect.

    Returns
    -------
    Answer
        One row a building and month under observation, in walking order, with the columns of ``COLUMNS``.

    Notes
    -----
    The expectation is the whole fleet's, so the rows add up to the failures counted; a building that is always high
    shows in every month (see ``rates --by building``), a spell of weeks is better found by ``scan_clusters``.
    """
    histories.database.run_file("fleet.analysis", "rate_pieces")
    table = histories.database.frame(read_sql("fleet.analysis", "building_month"))
    seen, expected = table["observed"].to_numpy(float), table["expected"].to_numpy(float)
    with np.errstate(divide="ignore", invalid="ignore"):
        table["ratio"] = np.where(expected > 0, seen / expected, np.nan)
        exactly = np.exp(special.xlogy(seen, expected) - expected - special.gammaln(seen + 1))
    # P(X > n) of a Poisson count is the regularized lower incomplete gamma function at n + 1
    table["p_value"] = np.where(expected > 0, special.gammainc(seen + 1, expected) + 0.5 * exactly, np.nan)
    named = benjamini_hochberg(table["p_value"].to_numpy(float), FALSE_DISCOVERY)
    table["alert"] = np.where(named, "yes", "no")
    table["note"] = np.where(expected > 0, "", "no failure of the fleet at this season and age: nothing to compare")
    return answer_from(
        histories,
        table,
        COLUMNS,
        name="months",
        method=METHOD,
        n_used=int(seen.sum()),
        notes=(f"{int(named.sum())} of {len(table)} building-months exceed what season, age and chance explain.",),
    )

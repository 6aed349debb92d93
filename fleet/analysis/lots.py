"""Which lots of parts fail early? Each lot against the other parts of its component, at the same age.

Only parts fitted in the log count, since only theirs are the lot and the age known. The test is exact whatever the
failure rate does with age (`fleet.analysis.lot_test`); false discovery after Y. Benjamini and Y. Hochberg, J. R. Stat.
Soc. B 57 (1995).
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from fleet.analysis.lot_screen import AGE_DAYS, FALSE_DISCOVERY, judge_lots
from fleet.analysis.poisson import FloatArray
from fleet.analysis.shrinkage import shrink_rates
from fleet.answer import Answer, AnswerColumn
from fleet.histories.answers import answer_from
from fleet.histories.build import Histories

COLUMNS = (
    AnswerColumn(name="part_no", kind="text", meaning="the part number"),
    AnswerColumn(name="lot", kind="text", meaning="the maker's date or lot code"),
    AnswerColumn(name="fitted", kind="count", meaning="parts of the lot fitted in the log"),
    AnswerColumn(name="failed", kind="count", meaning="those that failed since"),
    AnswerColumn(name="expected", kind="number", meaning="failures had they been like the other lots at their age"),
    AnswerColumn(name="ratio", kind="number", meaning="failed ÷ expected"),
    AnswerColumn(
        name="p_value",
        kind="number",
        meaning="chance of so many failures, or so early, were it like other lots",
    ),
    AnswerColumn(name="alert", kind="yesno", meaning="yes after false-discovery control at 10 % over all lots"),
    AnswerColumn(name="failed_early", kind="count", meaning="those that failed within two years of fitting"),
    AnswerColumn(
        name="expected_early", kind="number", meaning="failures within two years, were it like the other lots"
    ),
    AnswerColumn(name="component", kind="text", meaning="what it is a part of"),
    AnswerColumn(name="years", kind="number", meaning="time at risk of its parts", unit="years"),
    AnswerColumn(name="property", kind="text", meaning="blank: all together"),
    AnswerColumn(name="note", kind="text", meaning="why a number is blank"),
)

_METHOD = (
    "Failures of parts fitted in the log against those of all other parts of the component at the same age, time at "
    "risk weighted by the model family's rate; exact conditional test by age band, averaged over how long and how much "
    "a lot may be worse; false discovery 10 % among lots large enough; a lot named is no longer compared with; lots of "
    "fewer than five parts or three failures aren't named."
)


def screen_lots(histories: Histories) -> Answer:
    """Say which lots fail more than other parts of their component at the same age.

    Parameters
    ----------
    histories : Histories
        The log as known on its as-of day.

    Returns
    -------
    Answer
        One row a part number and lot fitted in the log, smallest p-value first (`COLUMNS`). Expected, ratio and
        p-value are blank where no other part of the component was at risk at the lot's ages.

    Notes
    -----
    Expected failures come from all parts but the lot's own (leave-one-out), part numbers of the component together and
    parts without a written lot among them. Time at risk is weighted by how often the model family's units need that
    component (shrunk toward the fleet), so that a lot isn't blamed for the units it went into. A lot that was fitted
    by one hand or in one hot summer may still be blamed for it: look before sending it back.
    """
    pieces = read_lot_pieces(histories)
    table = judge_lots(pieces).assign(property="")
    table["alert"] = np.where(table["alert"].astype(bool), "yes", "no")
    table = table.sort_values(["p_value", "part_no", "lot"], na_position="last")
    one_a_part = pieces.drop_duplicates("spell_id")
    nameless = int(one_a_part["lot"].isna().sum())
    return answer_from(
        histories,
        table,
        COLUMNS,
        name="lots",
        method=_METHOD,
        n_used=len(one_a_part),
        notes=_notes(table),
        excluded={"parts fitted without a lot, used for comparison only": nameless} if nameless else {},
        settings={"false_discovery": FALSE_DISCOVERY},
    )


def read_lot_pieces(histories: Histories) -> pd.DataFrame:
    """Return the parts fitted in the log by band of age, as `fleet.analysis.lot_screen.judge_lots` takes them."""
    bands = pd.DataFrame({"band": range(len(AGE_DAYS) - 1), "from_day": AGE_DAYS[:-1], "to_day": AGE_DAYS[1:]})
    histories.database.run_frame(
        "create or replace table history.lot_age as select columns(*)::integer from bands",
        "bands",
        bands,
    )
    histories.database.run_file("fleet.analysis", "lot_band")
    pieces = histories.database.frame("select * from history.lot_band order by spell_id, band")
    pieces["weight"] = pieces["years"] * _family_weights(histories, pieces)
    return pieces


def _family_weights(histories: Histories, pieces: pd.DataFrame) -> FloatArray:
    """Return how often each piece's model family needs its component, 1 = like the fleet."""
    chains = histories.database.frame(
        "select c.component, coalesce(u.model_family, 'unknown') as model_family, count(*) as n "
        "from history.chain as c join history.unit as u using (unit_id) where c.counted group by all"
    )
    years = histories.database.frame(
        "select coalesce(u.model_family, 'unknown') as model_family, sum(e.days) / 365.25 as years "
        "from history.exposure as e join history.unit as u using (unit_id) group by all order by all"
    )
    weights = pd.Series(1.0, index=pieces.index)
    for component, index in pieces.groupby("component").groups.items():
        n = chains.loc[chains["component"] == component].set_index("model_family")["n"]
        failures = n.reindex(years["model_family"]).fillna(0.0).to_numpy(dtype=np.float64)
        if failures.sum() == 0 or len(years) < 3:
            continue
        shrunk = shrink_rates(failures, years["years"] * failures.sum() / years["years"].sum())
        factor = dict(zip(years["model_family"], shrunk.mean, strict=True))
        weights.loc[index] = pieces.loc[index, "model_family"].map(factor).fillna(1.0)
    return np.asarray(weights, dtype=np.float64)


def _notes(table: pd.DataFrame) -> list[str]:
    if table.empty:
        return ["No part fitted in the log has a lot code: nothing can be said about lots; write the date code down."]
    named = table.loc[table["alert"] == "yes"]
    notes = [
        f"{len(named)} of {len(table)} lots fail more than the rest by more than chance allows"
        + (
            ": " + ", ".join(f"{p} lot {lot}" for p, lot in zip(named["part_no"], named["lot"], strict=True))
            if len(named)
            else ""
        )
        + f"; of lots named this way about {FALSE_DISCOVERY:.0%} are false."
    ]
    small = int((table["expected"] < 1).sum())
    if small:
        notes.append(
            f"{small} lots expect under one failure: such a lot must fail many times over the usual before it shows, "
            "so no alert is no proof that it is good."
        )
    return notes

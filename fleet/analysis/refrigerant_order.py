"""How many pounds of each refrigerant will the coming year take? What the log saw, and a year ahead."""

from __future__ import annotations

import numpy as np
import pandas as pd

from fleet.analysis.poisson import check_level
from fleet.analysis.year_ahead import draw_year_ahead
from fleet.answer import Answer, AnswerColumn
from fleet.histories.answers import answer_from
from fleet.histories.build import Histories
from fleet.settings import LEVEL
from fleet.store.database import read_sql
from fleet.trade.cautions import cautions_on
from fleet.trade.refrigerant import INDICATOR_NOTE, find_refrigerant, pounds

FEW_ADDITIONS = 5
"""With fewer amounts of its own a refrigerant borrows those of all."""

DRAWS = 4000

NOT_RECORDED = "not recorded"

COLUMNS = (
    AnswerColumn(name="refrigerant", kind="text", meaning="as on the data plates; not recorded where none is"),
    AnswerColumn(name="safety_class", kind="text", meaning="A1, A2L mildly flammable, A3; blank: not known"),
    AnswerColumn(name="units", kind="count", meaning="units in service now"),
    AnswerColumn(name="charge_lb", kind="number", meaning="full charge of those whose plate is known", unit="pounds"),
    AnswerColumn(name="charge_unknown", kind="count", meaning="units in service whose charge isn't known"),
    AnswerColumn(name="unit_years", kind="number", meaning="time in service in the log", unit="years"),
    AnswerColumn(name="additions", kind="count", meaning="visits that added some, for leaks and for opened circuits"),
    AnswerColumn(name="added_lb", kind="number", meaning="pounds added in the log", unit="pounds"),
    AnswerColumn(name="oz_per_unit_year", kind="number", meaning="ounces added a unit and year", unit="ounces"),
    AnswerColumn(name="mean_lb", kind="number", meaning="expected in the 12 months after the as-of day", unit="pounds"),
    AnswerColumn(name="low", kind="number", meaning="low end of the year's pounds"),
    AnswerColumn(name="high", kind="number", meaning="high end of the year's pounds"),
    AnswerColumn(name="q05", kind="number", meaning="5 in 100 years take less", unit="pounds"),
    AnswerColumn(name="q50", kind="number", meaning="half of the years take less", unit="pounds"),
    AnswerColumn(name="q95", kind="number", meaning="95 in 100 years take less", unit="pounds"),
    AnswerColumn(name="property", kind="text", meaning="blank: all together"),
    AnswerColumn(name="note", kind="text", meaning="why a number is blank, and what the row rests on"),
)

_METHOD = (
    "Additions a unit-year with the exact gamma posterior (Jeffreys prior), years differing by a factor estimated from "
    "the log and at least 15 %, amounts drawn from those seen with random weights; units in service now."
)


def forecast_refrigerant(histories: Histories, *, level: float = LEVEL, seed: int = 1, draws: int = DRAWS) -> Answer:
    """Say how many pounds of each refrigerant were used and how many the 12 months after the as-of day will take.

    Parameters
    ----------
    histories : Histories
        The log as known on its as-of day.
    level : float
        Two-sided level of ``low`` and ``high``; q05, q50 and q95 stay those quantiles.
    seed : int
        Seed of the draws.
    draws : int
        How many years are drawn.

    Returns
    -------
    Answer
        One row a refrigerant of units in service in the log (`COLUMNS`), most pounds first. The forecast is blank
        where no unit holds it any more.

    Raises
    ------
    AnalysisError
        When the level is out of range.

    Notes
    -----
    Everything added counts, leaks and opened circuits alike: both empty a cylinder. Weather and work are taken to be
    as in the log's years; units changed for ones with another refrigerant, what stands in the shop and what stays in
    a cylinder aren't allowed for. `forecast_demand` gives the same for a season, by part number.
    """
    check_level(level)
    histories.database.run_file("fleet.analysis", "refrigerant_visit")
    units = histories.database.frame("select * from history.refrigerant_unit order by unit_id")
    units["name"] = [_name(word) for word in units["refrigerant"]]
    histories.database.run_frame(
        "create or replace table history.refrigerant_name as select unit_id, name from named",
        "named",
        units[["unit_id", "name"]],
    )
    by_year = histories.database.frame(read_sql("fleet.analysis", "refrigerant_year"))
    amounts = histories.database.frame(
        "select n.name, v.ounces from history.refrigerant_visit as v "
        "join history.refrigerant_name as n using (unit_id) where v.in_log and v.ounces > 0 "
        "order by v.reported_at, v.place"
    )
    rng = np.random.default_rng(seed)
    rows = [
        _row(str(name), own, by_year.loc[by_year["name"] == name], amounts, rng=rng, level=level, draws=draws)
        for name, own in units.groupby("name", sort=True)
    ]
    table = pd.DataFrame(rows, columns=[column.name for column in COLUMNS])
    table = table.sort_values(["mean_lb", "refrigerant"], ascending=[False, True], na_position="last")
    return answer_from(
        histories,
        table,
        COLUMNS,
        name="refrigerant order",
        method=_METHOD,
        n_used=len(amounts),
        notes=_notes(table),
        settings={"level": level, "seed": seed, "draws": draws},
    )


def _name(word: object) -> str:
    if not isinstance(word, str) or not word.strip():
        return NOT_RECORDED
    known = find_refrigerant(word)
    return known.name if known else word.strip()


def _row(
    name: str,
    units: pd.DataFrame,
    by_year: pd.DataFrame,
    amounts: pd.DataFrame,
    *,
    rng: np.random.Generator,
    level: float,
    draws: int,
) -> dict[str, object]:
    now = units.loc[units["in_service"]]
    own = amounts.loc[amounts["name"] == name, "ounces"]
    known, years, ounces = find_refrigerant(name), float(by_year["unit_years"].sum()), float(own.sum())
    row: dict[str, object] = {
        "refrigerant": name,
        "safety_class": known.safety_class if known else "",
        "units": len(now),
        "charge_lb": pounds(float(now["charge_oz"].sum())),
        "charge_unknown": int(now["charge_oz"].isna().sum()),
        "unit_years": years,
        "additions": len(own),
        "added_lb": pounds(ounces),
        "oz_per_unit_year": ounces / years,
        "property": "",
    }
    if now.empty or amounts.empty:
        why = "no unit in service holds it" if now.empty else "no refrigerant was added in this log"
        return row | {"note": f"{why}, so no forecast"}
    borrowed = len(own) < FEW_ADDITIONS
    ahead = draw_year_ahead(
        rng,
        amounts=amounts["ounces"] if borrowed else own,
        counts=by_year["additions"],
        exposures=by_year["unit_years"],
        exposure_ahead=float(len(now)),
        draws=draws,
    )
    tail = (1 - level) / 2
    low, high, *quantiles = (pounds(float(q)) for q in np.quantile(ahead, [tail, 1 - tail, 0.05, 0.5, 0.95]))
    note = f"only {len(own)} additions: amounts as of all refrigerants" if borrowed else ""
    return (
        row
        | {"mean_lb": pounds(float(ahead.mean())), "low": low, "high": high, "note": note}
        | dict(zip(("q05", "q50", "q95"), quantiles, strict=True))
    )


def _notes(table: pd.DataFrame) -> list[str]:
    if not table["additions"].sum():
        return ["No refrigerant was added in this log: nothing to plan from; write down ounces with each visit."]
    notes = [
        "The pounds are what will be put in, before what stands in the shop and what stays in cylinders; they cover 12 "
        "months, a season's part is in the demand forecast.",
        "Refrigerants are never mixed and never stand for each other: order by the data plate.",
    ]
    unnamed = table.loc[table["refrigerant"] == NOT_RECORDED, "units"].sum()
    if unnamed:
        notes.append(f"{int(unnamed)} units in service have no refrigerant written down: read their data plates first.")
    if (table["refrigerant"] == "R-22").any():
        notes.append(
            "R-22 is no longer made or imported new in the United States (since 2020; secondary pages): only reclaimed "
            "and stored refrigerant is left, so ask early."
        )
    burns = table.loc[~table["safety_class"].isin(["", "A1"]), "refrigerant"]
    if len(burns):
        notes.append(f"{', '.join(burns)} can burn: store, carry and handle it as its class asks.")
    return [*notes, INDICATOR_NOTE, *(caution.text for caution in cautions_on("refrigerant"))]

"""The stocking list as a person takes it to the counter and along the walk: plain text at 80 columns."""

from __future__ import annotations

import textwrap
from typing import Any

import pandas as pd

from fleet.planning.stock import StockPlan
from fleet.present.numbers import is_blank
from fleet.present.sentences import opening

WIDTH = 80


def order_text(plan: StockPlan) -> str:
    """Return the order shelf by shelf, then part number by part number, then what stands behind it."""
    table = plan.answer.to_frame()
    lines = [textwrap.fill(opening(plan.answer), WIDTH), ""]
    expected = f"Expected: {plan.service:.0%} of part needs met from the shelf; pieces left over and short cost"
    lines.append(textwrap.fill(f"{expected} about ${plan.season_cost:,.0f}.", WIDTH))
    lines += ["", "By shelf, in walking order (have = on the shelf and on order)"]
    lines += _by_shelf(table)
    lines += ["", "For the counter"]
    lines += _by_part(table)
    lines += ["", *(textwrap.fill(f"- {note}", WIDTH, subsequent_indent="  ") for note in plan.answer.notes)]
    return "\n".join(lines)


def _by_shelf(table: pd.DataFrame) -> list[str]:
    lines = []
    shown = table[table["to_order"] > 0]
    for (prop, location), rows in shown.groupby(["property", "location"], sort=False):
        place = location if location == "shop" or str(location).startswith("van:") else f"building {location}"
        title = f"{prop}, {place}" if prop else str(place)
        cost = "" if rows["cost"].isna().all() else f" for ${rows['cost'].sum():,.2f}"
        lines += ["", f"{title}: order {int(rows['to_order'].sum())}{cost}"]
        lines.append(f"  {'part':<20} {'component':<22} {'have':>4} {'order':>5} {'need':>12} {'short':>6}")
        for row in _records(rows):
            need = (
                "" if is_blank(row["need_mean"]) else "{need_mean:.1f}, {need_q05:.0f} to {need_q95:.0f}".format(**row)
            )
            short = "" if is_blank(row["p_short"]) else f"{row['p_short']:.0%}"
            have = int(row["on_hand"] + row["on_order"])
            name = f"  {row['part_no']:<20.20} {row['component']:<22.22}"
            lines.append(f"{name} {have:>4} {row['to_order']:>5} {need:>12} {short:>6}".rstrip())
            if row["note"]:
                lines.append(f"    ({row['note']})")
    return lines or ["  Nothing to order: what stands on the shelves is enough."]


def _by_part(table: pd.DataFrame) -> list[str]:
    ordered = table[table["to_order"] > 0]
    if ordered.empty:
        return ["  Nothing."]
    lines = [f"  {'part':<18} {'component':<21} {'pieces':>6} {'each, $':>8} {'cost, $':>9}  {'order by':<10}".rstrip()]
    for (part_no, component), rows in ordered.groupby(["part_no", "component"], sort=True):
        price, days = rows["unit_cost"].iloc[0], [day for day in rows["order_by"] if day]
        each = "–" if is_blank(price) else f"{price:,.2f}"
        cost = "–" if is_blank(price) else f"{rows['cost'].sum():,.2f}"
        money = f"{int(rows['to_order'].sum()):>6} {each:>8} {cost:>9}  {days[0] if days else ''}"
        lines.append(f"  {part_no:<18.18} {component:<21.21} {money}".rstrip())
    lines.append(f"  {'all':<18} {'':<21} {int(ordered['to_order'].sum()):>6} {'':>8} {ordered['cost'].sum():>9,.2f}")
    return lines


def _records(rows: pd.DataFrame) -> list[dict[str, Any]]:
    return [{str(name): value for name, value in row.items()} for row in rows.to_dict("records")]

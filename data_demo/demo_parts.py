"""The invented company's parts counter: catalogue, prices of the day, lots, warranty, shelves of March 2026."""

from __future__ import annotations

import csv
from collections.abc import Sequence
from datetime import date, timedelta

from demo_fleet import Dice, Unit
from demo_settings import (
    BAD_LOT,
    BAD_LOT_FROM,
    BAD_LOT_PART,
    BAD_LOT_TO,
    CAPACITOR,
    CATALOGUE,
    CATALOGUE_COLUMNS,
    COMPONENTS,
    CONTACTOR,
    FAMILIES,
    HARD_START,
    NAMES,
    NO_SHELF,
    PRICE_INDEX,
    PROPERTIES,
    RATED_440_FROM,
)

Row = dict[str, str]
CATALOGUE_ROWS: list[Row] = [
    dict(zip(CATALOGUE_COLUMNS, cells, strict=True))
    for cells in csv.reader(CATALOGUE.strip().splitlines(), delimiter="|")
]
BY_NUMBER = {row["part_no"]: row for row in CATALOGUE_ROWS}
WARRANTED = ("compressor", "fan motor", "control board", "blower motor", "metering device")
LOTTED = (CAPACITOR, CONTACTOR, HARD_START)


def plain(value: float) -> str:
    """Return a number without a needless decimal point."""
    return f"{value:g}"


def capacitor_part(unit: Unit, day: date) -> str:
    """Return the run capacitor that fits a unit's rating that day, or blank where the catalogue has none."""
    herm, fan = unit.rating
    lines = [
        r
        for r in CATALOGUE_ROWS
        if r["component"] == "run capacitor"
        and r["herm_uf"] == plain(herm)
        and r["fan_uf"] == (plain(fan) if fan else "")
    ]
    voltage = "440" if day >= RATED_440_FROM else "370"
    lines.sort(key=lambda r: r["volts"] != voltage)
    return lines[0]["part_no"] if lines else ""


def part_for(unit: Unit, component: int, day: date) -> str:
    """Return the part number that fits a component of a unit, or blank where the catalogue has none."""
    name = NAMES[component]
    if component == CAPACITOR:
        return capacitor_part(unit, day)
    if component == HARD_START:
        low = str(unit.start_range[0])
        return next(r["part_no"] for r in CATALOGUE_ROWS if r["component"] == name and r["start_uf_min"] == low)
    for row in CATALOGUE_ROWS:
        if row["component"] == name and unit.family in row["fits"].split(";") and row["tons"] in ("", plain(unit.tons)):
            return row["part_no"]
    return ""


class PartsCounter:
    """Hands out parts: prices of the year, the lot on the shelf that day, who pays."""

    def __init__(self, dice: Dice) -> None:
        self.dice = dice
        self.lots: dict[str, list[tuple[date, str]]] = {}
        for row in CATALOGUE_ROWS:
            if row["component"] in {NAMES[c] for c in LOTTED}:
                self.lots[row["part_no"]] = self.draw_lots(row["part_no"])

    def draw_lots(self, part_no: str) -> list[tuple[date, str]]:
        """Draw when each lot of a part came onto the shelves, and its code."""
        lots, day = [], date(2019, 6, 1) + timedelta(days=self.dice.whole(0, 120))
        while day < date(2026, 1, 1):
            made = (day - timedelta(days=self.dice.whole(10, 80))).isocalendar()
            lots.append((day, f"{made.year % 100:02d}W{made.week:02d}"))
            day += timedelta(days=self.dice.whole(130, 240))
        if part_no == BAD_LOT_PART:
            lots = [lot for lot in lots if not BAD_LOT_FROM <= lot[0] <= BAD_LOT_TO]
            lots += [(BAD_LOT_FROM, BAD_LOT), (BAD_LOT_TO + timedelta(days=1), "22W46")]
        return sorted(lots)

    def lot(self, part_no: str, day: date) -> str:
        """Return the code of the lot handed out that day."""
        return next((code for start, code in reversed(self.lots.get(part_no, [])) if start <= day), "")

    def price(self, part_no: str, year: int) -> float:
        """Return what a part cost in a year."""
        return round(float(BY_NUMBER[part_no]["unit_cost"]) * PRICE_INDEX.get(year, 1.0), 2)

    def row(self, unit: Unit, component: int, day: date, why: str, technician: str) -> tuple[Row, bool]:
        """Return the row of a part fitted, and whether it came from the bad lot."""
        dice, name = self.dice, NAMES[component]
        part_no = part_for(unit, component, day)
        lot = self.lot(part_no, day)
        bad = (part_no, lot) == (BAD_LOT_PART, BAD_LOT)
        cost = self.price(part_no, day.year) if part_no else round(24.0 * PRICE_INDEX.get(day.year, 1.0), 2)
        row: Row = {"part_no": part_no, "component": name, "quantity": "1", "unit_cost": f"{cost:.2f}", "why": why}
        row["lot"] = "" if dice.chance(0.06) else lot
        covered = (day - unit.installed).days <= unit.warranty_years * 365.25 and unit.install_known
        if covered and name in WARRANTED and why == "failed" and dice.chance(0.8):
            row["warranty"] = "yes"
            row["credit"] = f"{cost * dice.pick((1.0, 1.0, 0.85)):.2f}" if dice.chance(0.85) else ""
        elif name in WARRANTED:
            row["warranty"] = "no"
        row["taken_from"] = self.shelf(unit, COMPONENTS[component].wait_share, technician) if part_no else ""
        return row, bad

    def shelf(self, unit: Unit, rarity: float, technician: str) -> str:
        """Return where a part was taken from: common ones from the building's own shelf, else shop or van."""
        has_shelf = (PROPERTIES[unit.place].name, unit.building) not in NO_SHELF
        if rarity > 0.2:
            return "shop" if self.dice.chance(0.5) else ""
        if technician == "Dario" and self.dice.chance(0.5):
            return "van:Dario"
        if has_shelf and self.dice.chance(0.55):
            return unit.building
        return "shop" if self.dice.chance(0.85) else ""

    def whole_unit(self, unit: Unit, day: date, why: str) -> Row:
        """Return the parts row of a whole unit set."""
        part_no = f"WU-{round(unit.tons * 10)}"
        return {
            "part_no": part_no,
            "component": "whole unit",
            "quantity": "1",
            "why": why,
            "warranty": "no",
            "unit_cost": f"{self.price(part_no, day.year):.2f}",
        }


def shelf_stock(dice: Dice, units: Sequence[Unit]) -> list[Row]:
    """Draw what stood on every shelf in March 2026: building shelves, the two shops and one van."""
    day, rows = date(2026, 3, 1), []

    def add(place: int, location: str, part_no: str, on_hand: int, on_order: int = 0) -> None:
        rows.append(
            {
                "property": PROPERTIES[place].name,
                "location": location,
                "part_no": part_no,
                "on_hand": str(on_hand),
                "on_order": str(on_order),
            }
        )

    common = (CAPACITOR, CONTACTOR, NAMES.index("dirty filter"))
    for place, prop in enumerate(PROPERTIES):
        for building, _, _ in prop.buildings:
            here = [u for u in units if (u.place, u.building) == (place, building)]
            if (prop.name, building) in NO_SHELF:
                continue
            for part_no in sorted({part_for(u, c, day) for u in here for c in common} - {""}):
                add(place, building, part_no, dice.whole(6, 24) if part_no == "FL-1620" else dice.whole(0, 3))
        used = {part_for(u, c, day) for u in units if u.place == place for c in range(len(COMPONENTS))} - {""}
        for part_no in sorted(used):
            dear = float(BY_NUMBER[part_no]["unit_cost"]) > 80
            add(place, "shop", part_no, dice.whole(0, 2 if dear else 7), dice.whole(3, 8) if dice.chance(0.12) else 0)
        add(place, "shop", "PC-8K", dice.whole(1, 4))
        for kind, part_no in (("R-22", "RG-22"), ("R-410A", "RG-410")):
            if any(FAMILIES[u.family].refrigerant == kind for u in units if u.place == place):
                add(place, "shop", part_no, dice.whole(4, 30))
    for part_no in ("RC-305-44", "RC-355-44", "RC-455-44", "CT-1P30", "CT-2P30", "HS-088", "FL-1620"):
        add(0, "van:Dario", part_no, dice.whole(1, 5))
    return rows

"""Dirt on purpose: the records a real log has and shouldn't, each with what the contract says must become of it."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

from demo_files import Files, Record
from demo_settings import REMOVED_UNITS
from demo_story import COLUMNS


class SoiledFiles(Files):
    """The files of the log with all the dirt on them."""

    # -- visits ---------------------------------------------------------------------------------------------------

    def visits_again(self) -> None:
        """Put in exact duplicates and corrections of visits."""
        for year, gap in ((2020, 1), (2021, 7), (2022, 1), (2024, 30), (2025, 2)):
            self.duplicate(f"visits_{year}.csv", self.visit(year), gap)
        self.duplicate("visits_2022.csv", self.visit(2022), 1, into="visits_2023.csv")
        dear = self.visit(2020, lambda r: r.cells["finding"] == "drain clog")
        self.correct("visits_2020.csv", dear, 12, labor_cost="999.99")
        for year, wrong in ((2021, "thermostat"), (2023, "wiring"), (2025, "contactor")):
            record = self.visit(year, lambda r: r.cells["finding"] in ("drain clog", "dirty coil"))
            self.correct(f"visits_{year}.csv", record, 9, finding=wrong)
        record = self.visit(2022, lambda r: r.cells["finding"] == "refrigerant leak")
        self.correct("visits_2022.csv", record, 1, into="visits_2023.csv", refrigerant_added_oz="200")
        record = self.visit(2023, self.measured_round)
        self.correct("visits_2023.csv", record, 1, into="visits_2024.csv", labor_minutes="abc")
        record.expect = "refused by itself (labor minutes), but corrected later: its readings and parts come back"

    def measured_round(self, record: Record) -> bool:
        """Say whether a visit is a spring round with readings and a part."""
        tables = {r.table for r in self.by_visit.get(record.cells["visit_id"], ())}
        return record.cells["call_type"] == "preventive maintenance" and len(tables) == 2

    def visits_refused(self) -> None:
        """Put in visits that must be quarantined."""
        for year, text in ((2020, "abc"), (2022, "ask Tov"), (2024, "forty")):
            record = self.visit(year, self.measured_round)
            self.mark(
                record,
                "labor minutes are text",
                "quarantined",
                text,
                reason="labor_minutes_not_number",
                labor_minutes=text,
            )
        for year in (2021, 2023):
            text = f"{year}-02-30 09:15"
            self.mark(
                self.visit(year),
                "impossible date",
                "quarantined",
                text,
                reason="reported_at_not_date",
                reported_at=text,
            )
        for year, text in ((2023, "2053-07-14 16:05"), (2025, "2052-06-30 11:40")):
            record = self.visit(year, self.measured_round)
            self.mark(
                record, "reported in the future", "quarantined", text, reason="reported_at_in_future", reported_at=text
            )
        for year, tag in ((2020, "QC14-101"), (2021, "POOL-HOUSE"), (2024, "TF03-406"), (2025, "QC03-999")):
            record = self.visit(year, lambda r: r.cells["call_type"] != "no cooling")
            self.mark(record, "unknown tag", "quarantined", tag, reason="equipment_id_unknown", equipment_id=tag)
        for year in (2022, 2024):
            self.mark(
                self.visit(year), "tag missing", "quarantined", "", reason="equipment_id_missing", equipment_id=""
            )
        for year in (2020, 2025):
            self.mark(
                self.visit(year), "report date missing", "quarantined", "", reason="reported_at_missing", reported_at=""
            )

    def visits_kept(self) -> None:
        """Put in visits that look wrong and must be kept."""
        changes: tuple[tuple[int, Callable[[str], str]], ...] = (
            (2020, str.lower),
            (2021, lambda t: f"  {t} "),
            (2022, lambda t: t.replace("0", "", 1) if t[2] == "0" else t.lower()),
            (2023, lambda t: t.replace("-", " - ")),
            (2025, lambda t: t.lower().replace("-", "- ")),
        )
        for year, change in changes:
            record = self.visit(year, lambda r: r.cells["equipment_id"][2] == "0")
            tag = record.cells["equipment_id"]
            self.mark(record, "tag written otherwise", "clean", f"is {tag}", equipment_id=change(tag))
        for year, amount in ((2021, "-45.00"), (2024, "-38.50")):
            record = self.visit(year, lambda r: not r.cells.get("other_cost"))
            self.mark(record, "negative money", "clean", "counts as a credit, flagged", other_cost=amount)
        for year, word in ((2020, "gremlins"), (2022, "smoke detector"), (2025, "ice maker")):
            record = self.visit(year, lambda r: r.cells["finding"] in ("drain clog", "dirty coil", "wiring"))
            self.mark(record, "unknown component word", "clean", "kept as other, with its word", finding=word)
        for year, change in ((2021, str.upper), (2023, str.title), (2024, lambda t: f" {t} ")):
            record = self.visit(year, lambda r: r.cells["finding"] not in ("", "no fault found"))
            word = record.cells["finding"]
            self.mark(record, "known word in another case or with spaces", "clean", f"is {word}", finding=change(word))
        for year, text in ((2021, "1 lb 6 oz"), (2024, "2 lb")):
            record = self.visit(year, lambda r: bool(r.cells.get("refrigerant_added_oz")))
            expect = "is 22 ounces" if "6" in text else "is 32 ounces"
            self.mark(record, "pounds in an ounce column", "clean", expect, refrigerant_added_oz=text)
        self.visits_outside_service()

    def visits_outside_service(self) -> None:
        """Put in visits to units that had been taken away."""
        for i, (tag, last) in enumerate(REMOVED_UNITS):
            day = last + timedelta(days=200 + 35 * i)
            visit_id = f"{day.year % 100}-{9001 + i}"
            cells = {
                "visit_id": visit_id,
                "equipment_id": tag,
                "reported_at": f"{day} 10:20",
                "arrived_at": f"{day} 11:05",
                "finished_at": f"{day} 11:45",
                "call_type": "no cooling",
                "after_hours": "no",
                "technician": "Wren",
                "finding": "contactor",
                "outcome": "cooling restored",
                "labor_minutes": "40",
                "labor_cost": "27.10",
                "notes": "tag half gone, think its this one",
            }
            record = self.insert(f"visits_{day.year}.csv", None, cells)
            expect = "kept and flagged: in costs, not in rates, life or demand"
            self.mark(record, "visit to a retired unit", "clean", expect)
            if i == 0:
                part = {
                    "visit_id": visit_id,
                    "part_no": "CT-1P30",
                    "component": "contactor",
                    "quantity": "1",
                    "unit_cost": "15.84",
                    "why": "failed",
                    "taken_from": "shop",
                }
                self.mark(
                    self.insert("parts_used.csv", None, part), "part of a visit to a retired unit", "clean", expect
                )

    def not_records(self) -> None:
        """Put in empty lines, repeated headers and totals rows."""
        for name in (
            "visits_2020.csv",
            "visits_2023.csv",
            "readings.csv",
            "parts_used.csv",
            "equipment.csv",
            "stock.csv",
        ):
            new = self.insert(name, self.victim(name), {}, 1)
            new.blank_line = True
            self.mark(new, "empty line", "blank", "named")
        for name in ("visits_2021.csv", "parts_used.csv"):
            self.mark(self.insert(name, self.victim(name), {}, 1), "line of separators only", "blank", "named")
        for name in ("visits_2021.csv", "readings.csv", "parts_used.csv"):
            table = self.files[name][0].table
            new = self.insert(name, self.victim(name), {c: c for c in COLUMNS[table]}, 1)
            self.mark(new, "header again", "blank", "named")
        for year in (2020, 2024):
            records = [r for r in self.files[f"visits_{year}.csv"] if not r.dirt and not r.blank_line]
            total = {c: f"{sum(float(r.cells.get(c) or 0) for r in records):.2f}" for c in ("labor_cost", "other_cost")}
            new = self.insert(f"visits_{year}.csv", None, {"visit_id": "TOTAL", **total})
            self.mark(new, "totals row", "blank", "named")
        paid = sum(float(r.cells.get("unit_cost") or 0) for r in self.files["parts_used.csv"] if r.becomes == "clean")
        new = self.insert("parts_used.csv", None, {"visit_id": "Total", "unit_cost": f"{paid:.2f}"})
        self.mark(new, "totals row", "blank", "named")

    # -- readings and parts ---------------------------------------------------------------------------------------

    def readings(self) -> None:
        """Put dirt on readings."""
        name = "readings.csv"

        def bench(r: Record) -> bool:
            return bool(r.cells.get("value")) and r.cells["component"] == "herm" and float(r.cells["value"]) > 20

        units = (
            ("nF", 1e3, "unit nF", ""),
            ("nF", 1e3, "unit nF", ""),
            ("pF", 1e6, "unit pF", ""),
            ("mF", 1, "unit mF", ", flagged"),
        )
        for unit, factor, dirt, flag in units:
            record = self.victim(name, bench)
            value = float(record.cells["value"])
            self.mark(
                record,
                dirt,
                "clean",
                f"is {value:g} µF{flag}",
                value=f"{value * factor:.0f}" if factor > 1 else f"{value:g}",
                unit=unit,
            )
        for text in ("uF", " MFD", "µF"):
            record = self.victim(name, bench)
            value = record.cells["value"]
            self.mark(record, "unit written in the value", "clean", f"is {value} µF", value=value + text, unit="")
        for _ in range(4):
            record = self.victim(name, lambda r: bench(r) and self.no_capacitor_work(r))
            self.mark(record, "zero without support", "clean", "not measured: flagged, kept out of drift", value="0")
        for _ in range(3):
            record = self.victim(name, bench)
            value = record.cells["value"]
            self.mark(
                record,
                "decimal point lost",
                "clean",
                f"flagged ({value} meant), kept out of drift",
                value=value.replace(".", ""),
            )
        for _ in range(2):
            self.swap_sections()
        for text in ("OL", "OL"):
            record = self.victim(name, bench)
            self.mark(record, "value is text", "quarantined", text, reason="value_not_number", value=text)
        for i, year in enumerate((20, 22, 25)):
            cells = {
                "visit_id": f"{year}-8{i}77",
                "component": "herm",
                "stage": "found",
                "value": "34.6",
                "meter": "M2",
            }
            record = self.insert(name, self.victim(name), cells, 1)
            self.mark(record, "reading of a visit that isn't there", "quarantined", "", reason="visit_unknown")
        for gap in (1, 4, 200):
            self.duplicate(name, self.victim(name, bench), gap)

    def no_capacitor_work(self, record: Record) -> bool:
        """Say whether a visit found the capacitor sound and fitted none."""
        others = self.by_visit[record.cells["visit_id"]]
        parts = [r for r in others if r.table == "parts_used" and r.cells["component"] == "run capacitor"]
        finds = [r for r in others if r.table == "readings" and r.cells["component"] == "herm"]
        fan = [r for r in others if r.table == "readings" and r.cells["component"] == "fan"]
        named = self.finding_of[record.cells["visit_id"]] == "run capacitor"
        return not parts and not fan and not named and len(finds) == 1

    def swap_sections(self) -> None:
        """Swap the compressor and fan readings of one visit."""

        def pair(r: Record) -> bool:
            others = [x for x in self.by_visit[r.cells["visit_id"]] if x.table == "readings"]
            return len(others) == 2 and all(x.cells.get("value") for x in others) and r.cells["component"] == "herm"

        herm = self.victim("readings.csv", pair)
        fan = next(x for x in self.by_visit[herm.cells["visit_id"]] if x.table == "readings" and x is not herm)
        values = herm.cells["value"], fan.cells["value"]
        for record, value in ((herm, values[1]), (fan, values[0])):
            self.mark(record, "herm and fan swapped", "clean", "recognized as swapped leads, flagged", value=value)

    def parts(self) -> None:
        """Put dirt on parts used."""
        name = "parts_used.csv"
        for i, year in enumerate((21, 24)):
            cells = {
                "visit_id": f"{year}-7{i}55",
                "part_no": "RC-355-44",
                "component": "run capacitor",
                "quantity": "1",
                "unit_cost": "15.90",
                "why": "failed",
            }
            record = self.insert(name, self.victim(name), cells, 1)
            self.mark(record, "part of a visit that isn't there", "quarantined", "", reason="visit_unknown")
        filters = lambda r: r.cells["component"] == "dirty filter"  # noqa: E731
        self.mark(
            self.victim(name, filters),
            "quantity is text",
            "quarantined",
            "two",
            reason="quantity_not_number",
            quantity="two",
        )
        self.mark(
            self.victim(name, filters), "negative money", "clean", "counts as a credit, flagged", unit_cost="-18.40"
        )
        self.mark(
            self.victim(name, filters),
            "unknown component word",
            "clean",
            "kept as other, with its word",
            component="fuse pull",
            part_no="FP-1",
        )
        for gap in (1, 50):
            self.duplicate(name, self.victim(name, filters), gap)

    # -- the other tables -----------------------------------------------------------------------------------------

    def other_tables(self) -> None:
        """Put dirt on equipment, stock, catalogue, weather and occupancy."""
        name = "equipment.csv"
        for gap in (1, 60):
            self.duplicate(name, self.victim(name), gap)
        self.correct(name, self.victim(name, lambda r: bool(r.cells["installed_on"])), 5, tons="20", apartment="??")
        for changes, reason in (
            ({"equipment_id": "", "building": "4"}, "equipment_id_missing"),
            ({"equipment_id": "QC04-900", "building": ""}, "building_missing"),
            ({"equipment_id": "TF06-900", "building": "6", "installed_on": "2019-13-05"}, "installed_on_not_date"),
        ):
            place = "Tansyfield Commons" if changes["equipment_id"].startswith("TF") else "Quernstone Court"
            cells = {"property": place, "model_family": "K4R", "compressor_type": "rotary", "tons": "2", **changes}
            record = self.insert(name, self.victim(name), cells, 1)
            self.mark(record, reason.replace("_", " "), "quarantined", "no visit names it", reason=reason)
        for _ in range(3):
            record = self.victim(name, lambda r: bool(r.cells["fan_uf"]) and not r.cells["retired_on"])
            both = f"{record.cells['herm_uf']}/{record.cells['fan_uf']}"
            self.mark(record, "both ratings in one column", "clean", f"is {both} µF", herm_uf=both, fan_uf="")
        self.duplicate("stock.csv", self.victim("stock.csv"), 3)
        self.correct("stock.csv", self.victim("stock.csv"), 8, on_hand="77")
        self.correct(
            "catalogue.csv",
            next(r for r in self.files["catalogue.csv"] if r.cells["part_no"] == "BM-13"),
            4,
            unit_cost="13.80",
        )
        for gap in (1, 365):
            self.duplicate("weather.csv", self.victim("weather.csv"), gap)
        self.correct("weather.csv", self.victim("weather.csv"), 2, high_f="199")
        for _ in range(2):
            self.mark(
                self.victim("weather.csv", lambda r: r.cells["date"][5:7] == "01"),
                "value is text",
                "quarantined",
                "M",
                reason="high_f_not_number",
                high_f="M",
            )
        self.duplicate("occupancy.csv", self.victim("occupancy.csv"), 2)

    def refuse_with_their_visit(self) -> None:
        """Quarantine the readings and parts of refused visits."""
        state: dict[str, set[str]] = {}
        for name, records in self.files.items():
            if name.startswith("visits"):
                for record in records:
                    state.setdefault(record.cells.get("visit_id", ""), set()).add(record.becomes)
        refused = {v for v, classes in state.items() if "quarantined" in classes and "clean" not in classes}
        for visit_id in sorted(refused):
            for record in self.by_visit.get(visit_id, ()):
                word = "reading" if record.table == "readings" else "part"
                self.mark(
                    record,
                    f"{word} of a refused visit",
                    "quarantined",
                    "comes back when it is corrected",
                    reason="visit_quarantined",
                )

    def soil(self) -> None:
        """Put on all the dirt."""
        self.visits_again()
        self.visits_refused()
        self.visits_kept()
        self.readings()
        self.parts()
        self.other_tables()
        self.not_records()
        self.refuse_with_their_visit()

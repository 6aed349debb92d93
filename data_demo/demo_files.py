"""The log as files of records, and the tools that soil them while counting what must become of each record."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass

from demo_fleet import Dice
from demo_settings import (
    BAD_FAMILY,
    BAD_LOT,
    SEED,
    SPELL_BUILDING,
)
from demo_story import COLUMNS, Row, Story


@dataclass(eq=False, slots=True, kw_only=True)
class Record:
    """One record of a file: its cells, the class the contract gives it, and what was done to it."""

    table: str
    cells: Row
    blank_line: bool = False
    becomes: str = "clean"
    reason: str = ""
    dirt: str = ""
    expect: str = ""

    def line(self) -> list[str]:
        """Return the cells in column order (nothing at all for an empty line)."""
        return [] if self.blank_line else [self.cells.get(c, "") for c in COLUMNS[self.table]]


class Files:
    """The files of the log as lists of records, and the dirt put on them."""

    def __init__(self, story: Story) -> None:
        self.dice = Dice(SEED, 9)
        self.files: dict[str, list[Record]] = {}
        for table, rows in story.tables.items():
            for row in rows:
                name = f"visits_{row['reported_at'][:4]}.csv" if table == "visits" else f"{table}.csv"
                self.files.setdefault(name, []).append(Record(table=table, cells=row))
        guarded = {*story.lemons, *(tag for tags in story.forgotten.values() for tag in tags)}
        for unit in story.units:
            if unit.family == BAD_FAMILY or (unit.place == 0 and unit.building == SPELL_BUILDING):
                guarded.add(unit.tag)
        lots = {r.cells["visit_id"] for r in self.files["parts_used.csv"] if r.cells.get("lot") == BAD_LOT}
        traps = {
            r.cells["visit_id"]
            for n, rs in self.files.items()
            if n.startswith("visits")
            for r in rs
            if r.cells["outcome"] in ("unit replaced", "waiting for part")
        }
        self.untouchable = lots | traps
        self.guarded = guarded
        self.touched: set[int] = set()
        self.by_visit: dict[str, list[Record]] = {}
        for name in ("readings.csv", "parts_used.csv"):
            for record in self.files[name]:
                self.by_visit.setdefault(record.cells["visit_id"], []).append(record)
        self.ratings = {u.tag: u.rating for u in story.units}
        self.tag_of = {r["visit_id"]: r["equipment_id"] for r in story.tables["visits"]}
        self.finding_of = {r["visit_id"]: r["finding"] for r in story.tables["visits"]}

    # -- tools ----------------------------------------------------------------------------------------------------

    def victim(self, name: str, suits: Callable[[Record], bool] = lambda r: True) -> Record:
        """Pick a record nobody has touched and nothing planted depends on."""
        records = self.files[name]
        for _ in range(20000):
            record = self.dice.pick(records)
            visit_id = record.cells.get("visit_id", "")
            tag = record.cells.get("equipment_id", self.tag_of.get(visit_id, ""))
            free = (
                id(record) not in self.touched
                and not record.dirt
                and record.becomes == "clean"
                and not record.blank_line
            )
            if free and tag not in self.guarded and visit_id not in self.untouchable and suits(record):
                self.touched.add(id(record))
                self.untouchable |= {visit_id} if visit_id else set()
                return record
        msg = f"{name}: found no record that suits; loosen the condition"
        raise LookupError(msg)

    def visit(self, year: int, suits: Callable[[Record], bool] = lambda r: True) -> Record:
        """Pick an untouched visit of a year."""
        return self.victim(f"visits_{year}.csv", suits)

    def mark(self, record: Record, dirt: str, becomes: str, expect: str, *, reason: str = "", **cells: str) -> None:
        """Change a record's cells and write down what it is now."""
        record.cells = {**record.cells, **cells}
        record.dirt, record.becomes, record.expect, record.reason = dirt, becomes, expect, reason
        self.touched.add(id(record))

    def insert(self, name: str, after: Record | None, cells: Row, gap: int = 1) -> Record:
        """Insert a new record some records after another (or at the end of the file)."""
        records = self.files[name]
        new = Record(table=records[0].table, cells=dict(cells))
        place = len(records) if after is None else min(len(records), records.index(after) + gap)
        records.insert(place, new)
        self.touched.add(id(new))
        return new

    def duplicate(self, name: str, record: Record, gap: int, into: str = "") -> None:
        """Write a record again, the same in every column; in a later file the later one is kept."""
        new = self.insert(into or name, None if into else record, record.cells, gap)
        if into:
            self.mark(record, "exact duplicate", "duplicate", f"comes again in {into}, which is kept")
        else:
            self.mark(new, "exact duplicate", "duplicate", "one of the two is kept")

    def correct(self, name: str, record: Record, gap: int, into: str = "", **wrong: str) -> None:
        """Make a record the old, wrong version of one that comes again right later."""
        self.insert(into or name, None if into else record, record.cells, gap)
        where = f" in {into}" if into else ""
        self.mark(
            record,
            f"older version, corrected later{where}",
            "duplicate",
            "the later version wins; change kept",
            **wrong,
        )

    def listing(self) -> list[dict[str, str | int]]:
        """List every dirty record by file and record number (the header is record 1)."""
        found: list[dict[str, str | int]] = []
        for name in sorted(self.files):
            for number, record in enumerate(self.files[name], start=2):
                if record.dirt:
                    key = (
                        record.cells.get("visit_id")
                        or record.cells.get("equipment_id")
                        or record.cells.get("part_no", "")
                    )
                    found.append(
                        {
                            "file": name,
                            "record": number,
                            "key": key.strip(),
                            "what": record.dirt,
                            "becomes": record.becomes,
                            "reason": record.reason,
                            "detail": record.expect,
                        }
                    )
        return found

    def classes(self) -> dict[str, dict[str, int]]:
        """Count records by file and class."""
        order = ("clean", "quarantined", "duplicate", "blank")
        counts = {}
        for name in sorted(self.files):
            tally = Counter(r.becomes for r in self.files[name])
            counts[name] = {"records": len(self.files[name]), **{word: tally[word] for word in order}}
        return counts

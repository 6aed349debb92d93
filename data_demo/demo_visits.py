"""From failures to paper: calls, spring rounds and turnovers as the technicians and the vendor wrote them down."""

from __future__ import annotations

from collections import defaultdict
from datetime import date, datetime, time, timedelta

from demo_bench import Bench, Row, Task, Visit
from demo_fleet import Dice, Unit, day_index, day_of, draw_size
from demo_notes import ANY_CALL, CALL_TYPES, NOTES
from demo_parts import PartsCounter
from demo_settings import (
    CALLBACK_SHARE,
    CAPACITOR,
    COMPONENTS,
    COMPRESSOR,
    FAMILIES,
    FILTER,
    HARD_START,
    HOURS,
    LEAK,
    MEASURED,
    METER_BIAS,
    METER_OWN_SHARE,
    NAMES,
    NO_FAULT,
    PRICE_INDEX,
    PROPERTIES,
    SEED,
    TECHNICIANS,
    VENDOR,
    WIRING,
)
from demo_world import World, unit_goes


class Office(Bench):
    """Turns what happens into the log's rows, and tells the world what was mended."""

    def __init__(self, world: World) -> None:
        super().__init__(world)
        self.parts = PartsCounter(Dice(SEED, 5))
        self.visits: list[Visit] = []
        self.parts_used: list[tuple[int, Row]] = []
        self.equipment_history: list[Unit] = []
        self.later: dict[int, list[Task]] = defaultdict(list)
        self.true_failures: list[tuple[date, str, str]] = []
        self.chains = 0

    # -- when and who ---------------------------------------------------------------------------------------------

    def working(self, unit: Unit, moment: datetime) -> bool:
        """Say whether a moment lies within the property's working hours."""
        prop = PROPERTIES[unit.place]
        opens, closes = (time.fromisoformat(h.zfill(5)) for h in prop.hours)
        last = 5 if prop.workdays == "mon-sat" else 4
        return moment.weekday() <= last and opens <= moment.time() < closes

    def next_opening(self, unit: Unit, moment: datetime) -> datetime:
        """Return the next start of working hours after a moment."""
        opens = time.fromisoformat(PROPERTIES[unit.place].hours[0].zfill(5))
        day = moment.date() if moment.time() < opens else moment.date() + timedelta(days=1)
        while not self.working(unit, datetime.combine(day, opens)):
            day += timedelta(days=1)
        return datetime.combine(day, opens)

    def arrival(self, unit: Unit, reported: datetime, *, urgent: bool) -> datetime:
        """Draw when somebody comes: the same day in hours, at night only when it is urgent, later when it is hot."""
        dice = self.dice
        heat = float(self.world.hazard[unit.place, day_index(reported.date()), CAPACITOR])
        if self.working(unit, reported):
            come = reported + timedelta(hours=dice.lognormal(1.6 + 0.5 * heat, 0.7))
            if self.working(unit, come) or (urgent and come.time() < time(22) and come.date() == reported.date()):
                return come
        elif urgent and dice.chance(0.6) and time(6) < reported.time() < time(22, 30):
            return reported + timedelta(hours=dice.lognormal(1.3, 0.5))
        opening = self.next_opening(unit, reported)
        return opening + timedelta(minutes=dice.whole(5, 240))

    def who(self, visit: Visit) -> None:
        """Draw who goes: a technician of the property, or the vendor (more at night and for compressors)."""
        dice, task = self.dice, visit.task
        vendor_share = 0.34 if visit.after_hours else 0.03
        if task.component == COMPRESSOR and task.part_ordered:
            vendor_share = 0.35
        if task.kind in ("call", "follow-up", "callback") and dice.chance(vendor_share):
            visit.vendor = VENDOR
            return
        place = visit.unit.place
        visit.technician = dice.pick_weighted([(name, t.share[place]) for name, t in TECHNICIANS.items()])
        own = TECHNICIANS[visit.technician].meter
        visit.meter = own if dice.chance(METER_OWN_SHARE) else dice.pick(tuple(METER_BIAS))

    def open_visit(self, task: Task, day: int, *, at: time | None = None, technician: str = "") -> Visit:
        """Start a visit's record: report, arrival, people."""
        dice, unit = self.dice, self.world.units[task.slot]
        if at is None:
            hour = dice.pick_weighted(HOURS)
            if task.kind in ("follow-up", "round", "turnover", "program"):
                hour = dice.whole(8, 14)
            at = time(hour, dice.whole(0, 59))
        reported = datetime.combine(day_of(day), at)
        visit = Visit(key=len(self.visits), task=task, unit=unit, reported=reported, row={})
        planned = task.kind in ("round", "turnover", "program", "follow-up")
        urgent = unit.priority or int(self.world.weather.high[unit.place, day]) >= 96
        arrived = (
            reported + timedelta(minutes=dice.whole(0, 25)) if planned else self.arrival(unit, reported, urgent=urgent)
        )
        visit.after_hours = not self.working(unit, arrived)
        self.who(visit)
        if technician:
            visit.technician, visit.vendor = technician, ""
        visit.row = {
            "equipment_id": unit.tag,
            "reported_at": f"{reported:%Y-%m-%d %H:%M}",
            "arrived_at": f"{arrived:%Y-%m-%d %H:%M}",
            "call_type": self.call_type(task),
            "after_hours": ("yes" if visit.after_hours else "no") if dice.chance(0.7) else "",
            "technician": visit.technician,
            "vendor": visit.vendor,
        }
        self.visits.append(visit)
        return visit

    def call_type(self, task: Task) -> str:
        """Return the word the office gives the visit."""
        fixed = {
            "round": "preventive maintenance",
            "turnover": "turnover",
            "program": "other",
            "follow-up": "follow-up",
        }
        if task.kind in fixed:
            return fixed[task.kind]
        if task.kind == "callback" and self.dice.chance(0.25):
            return "follow-up"
        return self.dice.pick_weighted(CALL_TYPES.get(NAMES[task.component], ANY_CALL))

    # -- closing a visit ------------------------------------------------------------------------------------------

    def close(self, visit: Visit, *, finding: str, outcome: str, note: str, minutes: float) -> None:
        """Write what was found, how it ended, time and money."""
        dice, row = self.dice, visit.row
        visit.minutes = max(10, 5 * round(dice.lognormal(minutes, 0.3) / 5))
        arrived = datetime.fromisoformat(row["arrived_at"])
        finished = arrived + timedelta(minutes=visit.minutes)
        row["finished_at"] = f"{finished:%Y-%m-%d %H:%M}"
        row["finding"], row["outcome"] = finding, outcome
        row["labor_minutes"] = str(visit.minutes)
        index = PRICE_INDEX.get(arrived.year, 1.0)
        rate = (112.0 if visit.vendor else 43.0) * (0.5 + 0.5 * index) * (1.5 if visit.after_hours else 1.0)
        paid = max(60, visit.minutes) if visit.vendor or visit.after_hours else visit.minutes
        row["labor_cost"] = f"{rate * paid / 60:.2f}"
        if visit.vendor and dice.chance(0.8):
            row["other_cost"] = "85.00" if visit.after_hours else "55.00"
        if dice.chance(0.12):
            late = timedelta(days=dice.whole(0, 3) if dice.chance(0.8) else dice.whole(10, 45), hours=dice.whole(1, 8))
            row["recorded_at"] = f"{finished + late:%Y-%m-%d %H:%M}"
        self.indoor(visit)
        texts = NOTES.get(note, ("",))
        row["notes"] = dice.pick(texts) if dice.chance(0.7) else ""
        end = day_index(finished.date())
        self.world.busy_until[visit.task.slot] = max(int(self.world.busy_until[visit.task.slot]), end)

    def indoor(self, visit: Visit) -> None:
        """Note the indoor temperature on some hot-weather calls."""
        dice = self.dice
        day = day_index(visit.reported.date())
        high = int(self.world.weather.high[visit.unit.place, day])
        if visit.task.kind in ("call", "callback") and high >= 88 and dice.chance(0.6):
            cold = visit.row["call_type"] in ("no cooling", "breaker trip")
            visit.row["indoor_f"] = str(round(dice.normal(80 + (high - 88) * 0.35 + (4 if cold else 0), 2.2)))

    def refrigerant(self, visit: Visit, ounces: float) -> None:
        """Write refrigerant added, and what it cost."""
        kind = FAMILIES[visit.unit.family].refrigerant
        pound = {"R-22": 52.0, "R-410A": 14.5}[kind] * PRICE_INDEX.get(visit.reported.year, 1.0)
        visit.row["refrigerant_added_oz"] = f"{ounces:.0f}"
        visit.row["refrigerant_cost"] = f"{pound * round(ounces) / 16:.2f}"

    # -- repairs --------------------------------------------------------------------------------------------------

    def fit(self, visit: Visit, component: int, why: str) -> None:
        """Fit a new part: its row, its readings when it is a capacitor, and the world's new state."""
        slot, unit = visit.task.slot, visit.unit
        row, bad = self.parts.row(unit, component, visit.reported.date(), why, visit.technician)
        if visit.vendor and row["taken_from"]:
            row["taken_from"] = ""
        self.parts_used.append((visit.key, row))
        if component != FILTER:
            self.world.renew(slot, component, day_index(visit.reported.date()) if bad else None)
        if bad:
            visit.truth["bad_lot"] = "yes"
        tested = 0.65 if visit.technician else 0.2
        if component == CAPACITOR and self.dice.chance(tested):
            self.measure_capacitor(visit, "new")
            if self.dice.chance(0.35):
                self.measure_capacitor(visit, "left")
        elif component == HARD_START and self.dice.chance(tested):
            self.measure_start(visit, "new")
        if component == HARD_START:
            self.world.kit_fitted[slot] = True

    def why_failed(self) -> str:
        """Return how a failed part's reason was written: mostly failed, sometimes left blank."""
        return self.dice.pick_weighted((("failed", 0.92), ("", 0.05), ("unknown", 0.03)))

    def weak_change(self, visit: Visit, lowest: float) -> bool:
        """Change a weak capacitor by the technician's own rule."""
        limit = TECHNICIANS[visit.technician].changes_below if visit.technician else -6.0
        if lowest > limit or self.dice.chance(0.08):
            return False
        self.fit(visit, CAPACITOR, "weak")
        return True

    def measure_before_repair(self, visit: Visit) -> None:
        """Take the readings a call gets before anything is mended, and change a weak capacitor found on the way."""
        dice, component, mended = self.dice, visit.task.component, visit.task.mended
        if component == CAPACITOR and not mended:
            dead = 0 if dice.chance(0.7) or not visit.unit.rating[1] else 1
            if dice.chance(0.9 if visit.technician else 0.3):
                self.measure_capacitor(visit, "found", dead=dead)
        elif dice.chance(MEASURED.get(NAMES[component], 0.1) * (1.0 if visit.technician else 0.25)):
            lowest = self.measure_capacitor(visit, "found")
            if component not in (CAPACITOR, COMPRESSOR):
                self.weak_change(visit, lowest)
        if component == HARD_START and not mended and dice.chance(0.6):
            self.measure_start(visit, "found", dead=True)

    def repair(self, visit: Visit) -> None:
        """Mend the component the task names."""
        dice, component = self.dice, visit.task.component
        name = NAMES[component]
        self.measure_before_repair(visit)
        fits = COMPONENTS[component].part_share * (0.3 if visit.task.mended else 1.0)
        if component != NO_FAULT and dice.chance(fits):
            self.fit(visit, component, self.why_failed())
        if component in (LEAK, COMPRESSOR):
            self.refrigerant(visit, dice.between(14, 52))
        elif name in ("metering device", "dirty coil") and dice.chance(0.3):
            self.refrigerant(visit, dice.between(4, 20))
        if name in ("compressor", "hard start", "breaker or disconnect"):
            self.maybe_fit_kit(visit, 0.5)

    def maybe_fit_kit(self, visit: Visit, share: float) -> None:
        """Fit a hard-start kit to a unit that has none, as an upgrade."""
        bare = not self.world.kit_fitted[visit.task.slot] and FAMILIES[visit.unit.family].kind != "scroll"
        if bare and self.dice.chance(share):
            self.fit(visit, HARD_START, "upgrade")

    def replace_unit(self, visit: Visit, why: str) -> None:
        """Set a new unit at the tag: the old one is retired that day, the new one begins the next."""
        dice, slot, old = self.dice, visit.task.slot, visit.unit
        day = visit.reported.date()
        family = dice.pick(("P2S", "R6R"))
        size = old.size if old.size in FAMILIES[family].sizes else draw_size(dice, family)
        new = Unit(
            tag=old.tag,
            place=old.place,
            building=old.building,
            apartment=old.apartment,
            family=family,
            size=size,
            installed=day + timedelta(days=1),
            kit=dice.chance(FAMILIES[family].kit_share),
            priority=old.priority,
            warranty_years=10 if dice.chance(0.5) else 5,
        )
        old.retired = day
        self.equipment_history.append(old)
        self.parts_used.append((visit.key, self.parts.whole_unit(new, day, why)))
        self.world.units[slot] = new
        self.world.start_unit(slot)
        self.refrigerant(visit, dice.between(6, 24))

    # -- the kinds of visit ---------------------------------------------------------------------------------------

    def handle(self, task: Task, day: int) -> None:
        """Do whatever a task asks for."""
        if task.kind == "round":
            self.spring_round(task, day)
        elif task.kind == "turnover":
            self.turnover(task, day)
        elif task.kind == "program":
            visit = self.open_visit(task, day)
            self.close(visit, finding="", outcome="unit replaced", note="program", minutes=300)
            self.replace_unit(visit, "upgrade")
        else:
            self.call(task, day)

    def schedule(self, task: Task, day: int) -> None:
        """Put a task on a later day (planned work on a workday); the unit stays out of other trouble until then."""
        while task.kind == "follow-up" and day_of(day).weekday() > 4:
            day += 1
        self.later[day].append(task)
        self.world.busy_until[task.slot] = max(int(self.world.busy_until[task.slot]), day)

    def call(self, task: Task, day: int) -> None:
        """Handle a call or a return: no access, waiting for a part, a new unit, a miss, or a repair."""
        dice, component = self.dice, task.component
        spec = COMPONENTS[component]
        visit = self.open_visit(task, day)
        if task.kind == "call" and task.chain < 0:
            task.chain = self.chains
            self.chains += 1
            if component != NO_FAULT:
                self.true_failures.append((visit.reported.date(), visit.unit.tag, spec.name))
        arrived = day_index(date.fromisoformat(visit.row["arrived_at"][:10]))
        if task.kind == "call" and not visit.after_hours and dice.chance(0.035):
            self.close(visit, finding="", outcome="no access", note="no access", minutes=15)
            self.schedule(
                Task(slot=task.slot, component=component, kind="follow-up", chain=task.chain),
                arrived + dice.whole(1, 3),
            )
            return
        goes = dice.chance(unit_goes(visit.unit, component, visit.reported.date()))
        wait = 1.0 if goes else spec.wait_share
        if task.kind == "call" and dice.chance(wait):
            self.close(visit, finding=spec.name, outcome="waiting for part", note="waiting", minutes=spec.minutes * 0.5)
            if visit.reported.month in (6, 7, 8) and dice.chance(0.3):
                visit.row["other_cost"] = f"{dice.pick((40, 60, 75, 120)):.2f}"
            later = Task(slot=task.slot, component=component, kind="follow-up", chain=task.chain, part_ordered=True)
            later.new_unit = goes
            self.schedule(later, arrived + dice.whole(2, 11))
            return
        if task.new_unit:
            self.close(visit, finding=spec.name, outcome="unit replaced", note="replaced", minutes=320)
            self.replace_unit(visit, "failed")
            return
        self.finish_call(visit, arrived)

    def finish_call(self, visit: Visit, arrived: int) -> None:
        """Repair, or miss the fault; then draw whether the work comes back."""
        dice, task = self.dice, visit.task
        spec = COMPONENTS[task.component]
        factor = TECHNICIANS[visit.technician].callback_factor if visit.technician else 1.0
        base = CALLBACK_SHARE * factor * (2.0 if task.component == NO_FAULT else 1.0)
        comes_back = task.kind != "callback" and dice.chance(base)
        missed = (
            comes_back and task.component not in (NO_FAULT, COMPRESSOR) and task.kind == "call" and dice.chance(0.3)
        )
        if missed:
            self.close(visit, finding="no fault found", outcome="cooling restored", note="no fault found", minutes=30)
        else:
            self.repair(visit)
            outcome = "temporary" if dice.chance(0.02) else "cooling restored"
            note = "callback" if task.kind == "callback" and dice.chance(0.6) else spec.name
            self.close(visit, finding=spec.name, outcome=outcome, note=note, minutes=spec.minutes)
        if comes_back:
            visit.truth["comes_back"] = "yes"
            delay = min(27, 1 + int(dice.rng.exponential(7.0)))
            again = task.component
            if not missed and (task.component == NO_FAULT or dice.chance(0.25)):
                again = WIRING
            self.schedule(
                Task(slot=task.slot, component=again, kind="callback", chain=task.chain, mended=not missed),
                arrived + delay,
            )

    def spring_round(self, task: Task, day: int) -> None:
        """Do the spring check: measure, change what is weak by the technician's rule, filter, coil."""
        dice = self.dice
        visit = self.open_visit(task, day)
        if not task.campaign and dice.chance(0.03):
            self.close(visit, finding="", outcome="no access", note="no access", minutes=10)
            return
        lowest, note, finding = 99.0, "preventive maintenance", ""
        if dice.chance(0.95):
            lowest = self.measure_capacitor(visit, "found")
        if self.world.kit_fitted[task.slot] and dice.chance(0.5):
            self.measure_start(visit, "found")
        if task.campaign:
            self.fit(visit, CAPACITOR, "preventive")
        else:
            self.weak_change(visit, lowest)
        if dice.chance(0.45):
            self.fit(visit, FILTER, "preventive")
        if dice.chance(0.02):
            self.fit(visit, 1, "preventive")
        if dice.chance(0.12):
            finding = dice.pick(("dirty coil", "dirty filter"))
        self.maybe_fit_kit(visit, 0.012)
        self.close(visit, finding=finding, outcome="", note=note, minutes=32)

    def turnover(self, task: Task, day: int) -> None:
        """Check the unit of a vacant home before the next resident moves in."""
        dice = self.dice
        visit = self.open_visit(task, day)
        if dice.chance(0.3):
            self.weak_change(visit, self.measure_capacitor(visit, "found"))
        if dice.chance(0.6):
            self.fit(visit, FILTER, "preventive")
        self.close(visit, finding="", outcome="", note="turnover", minutes=25)
        if dice.chance(0.3):  # written on the make-ready sheet, which has a date and no time
            visit.row["reported_at"] = visit.row["reported_at"][:10]
            visit.row["arrived_at"] = visit.row["finished_at"] = visit.row["after_hours"] = ""

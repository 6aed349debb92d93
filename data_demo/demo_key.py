"""The answer key: what was planted, where, how strongly, and what a perfect reader of the log would find."""

from __future__ import annotations

from collections import Counter, defaultdict
from datetime import date, timedelta
from decimal import Decimal

import demo_settings as planted
from demo_files import Files, Record
from demo_fleet import Unit
from demo_forecast import true_forecast
from demo_settings import COMPONENTS, FAMILIES, LOG_FROM, LOG_TO, METER_BIAS, NAMES, PROPERTIES, TECHNICIANS
from demo_story import Story

GAP_PLACE = next(i for i, p in enumerate(PROPERTIES) if p.name == planted.GAP_PROPERTY)


def service_years(unit: Unit) -> float:
    """Return a unit's years of service inside the log's window, without the gap in the log (vacancies stay in)."""

    def days(start: date, end: date) -> int:
        return max(0, (min(unit.retired or LOG_TO, end) - max(unit.installed, start)).days + 1)

    gap = days(planted.GAP_FROM, planted.GAP_TO) if unit.place == GAP_PLACE else 0
    return (days(LOG_FROM, LOG_TO) - gap) / 365.25


def failures_logged(story: Story) -> list[tuple[date, str, str]]:
    """Return the true failures (day of report, tag, component) that the log had a chance to hold."""
    prefix = PROPERTIES[GAP_PLACE].prefix
    return [
        (day, tag, name)
        for day, tag, name in story.office.true_failures
        if not (tag.startswith(prefix) and planted.GAP_FROM <= day <= planted.GAP_TO)
    ]


def unit_at(story: Story) -> dict[str, list[Unit]]:
    """Return every tag's units in order of installation."""
    units: dict[str, list[Unit]] = defaultdict(list)
    for unit in story.units:
        units[unit.tag].append(unit)
    return units


def family_key(story: Story) -> dict[str, object]:
    """Return the bad family's failures and unit-years against everyone else's."""
    units = unit_at(story)
    years = {True: 0.0, False: 0.0}
    for unit in story.units:
        years[unit.family == planted.BAD_FAMILY] += service_years(unit)
    words = [NAMES[c] for c in planted.BAD_FAMILY_FACTORS]
    counts: Counter[tuple[str, bool]] = Counter()
    for day, tag, name in failures_logged(story):
        owner = next((u for u in units[tag] if u.installed <= day <= (u.retired or LOG_TO)), units[tag][-1])
        counts[name, owner.family == planted.BAD_FAMILY] += 1
    realized = {}
    for word in words:
        bad, rest = counts[word, True], counts[word, False]
        realized[word] = {
            "failures": bad,
            "failures_elsewhere": rest,
            "ratio": round(bad / years[True] / (rest / years[False]), 2),
        }
    return {
        "family": planted.BAD_FAMILY,
        "components": words,
        "ageing_factor": {NAMES[c]: f for c, f in planted.BAD_FAMILY_FACTORS.items()},
        "units": sum(u.family == planted.BAD_FAMILY for u in story.units),
        "unit_years": round(years[True], 1),
        "unit_years_elsewhere": round(years[False], 1),
        "realized": realized,
        "found_by": "rates --by model_family",
    }


def hard_start_key(story: Story) -> dict[str, object]:
    """Return hard-start failures per year with a kit, rotary against the rest."""
    upgrade: dict[str, date] = {}
    for key, row in story.office.parts_used:
        if row["component"] == "hard start" and key in story.visit_ids:
            visit = story.office.visits[key]
            upgrade.setdefault(visit.unit.tag, visit.reported.date())
    years = {True: 0.0, False: 0.0}
    for unit in story.units:
        rotary = FAMILIES[unit.family].kind == "rotary"
        fitted = upgrade.get(unit.tag)
        if unit.kit:
            years[rotary] += service_years(unit)
        elif fitted and unit.installed <= fitted <= (unit.retired or LOG_TO):
            years[rotary] += ((unit.retired or LOG_TO) - fitted).days / 365.25
    units = unit_at(story)
    counts: Counter[bool] = Counter()
    for day, tag, name in failures_logged(story):
        if name == "hard start":
            owner = next((u for u in units[tag] if u.installed <= day <= (u.retired or LOG_TO)), units[tag][-1])
            counts[FAMILIES[owner.family].kind == "rotary"] += 1
    return {
        "ageing_factor": planted.ROTARY_HARD_START_FACTOR,
        "rotary_failures": counts[True],
        "other_failures": counts[False],
        "rotary_kit_years": round(years[True], 1),
        "other_kit_years": round(years[False], 1),
        "ratio": round(counts[True] / years[True] / (counts[False] / years[False]), 2),
        "found_by": "rates --by compressor_type --component 'hard start'",
    }


def lot_key(story: Story) -> dict[str, object]:
    """Return how the bad lot did in its first months against all other capacitor lots."""
    dates = {key: story.office.visits[key].reported.date() for key in story.visit_ids}
    fits: dict[str, list[tuple[date, str, str, bool]]] = defaultdict(list)
    for key, row in story.office.parts_used:
        if key in dates and row["component"] == "run capacitor":
            visit = story.office.visits[key]
            fits[visit.unit.tag].append((dates[key], row["why"], row["lot"], visit.truth.get("bad_lot") == "yes"))
    tally = {True: [0, 0, 0], False: [0, 0, 0]}
    months = timedelta(days=round(planted.BAD_LOT_MONTHS * 30.4375))
    for rows in fits.values():
        rows.sort()
        for i, (day, _, lot, bad) in enumerate(rows):
            after = [r for r in rows[i + 1 :] if r[0] - day <= months]
            tally[bad][0] += 1
            tally[bad][1] += bool(lot)
            tally[bad][2] += bool(after) and after[0][1] not in ("weak", "preventive")
    return {
        "part_no": planted.BAD_LOT_PART,
        "lot": planted.BAD_LOT,
        "factor": planted.BAD_LOT_FACTOR,
        "first_months": planted.BAD_LOT_MONTHS,
        "handed_out": [f"{planted.BAD_LOT_FROM}", f"{planted.BAD_LOT_TO}"],
        "fitted": tally[True][0],
        "fitted_with_lot_written": tally[True][1],
        "failed_early": tally[True][2],
        "fitted_other_lots": tally[False][0],
        "failed_early_other_lots": tally[False][2],
        "found_by": "repeats (lots)",
    }


def spell_key(story: Story) -> dict[str, object]:
    """Return the spell's contactor failures in its building."""
    window = (planted.SPELL_FROM, planted.SPELL_TO)
    place = next(i for i, p in enumerate(PROPERTIES) if p.name == planted.SPELL_PROPERTY)
    tags = {u.tag for u in story.units if u.place == place and u.building == planted.SPELL_BUILDING}
    failures = sorted(
        (f"{d}", t)
        for d, t, n in failures_logged(story)
        if n == "contactor" and t in tags and window[0] <= d <= window[1] + timedelta(days=3)
    )
    return {
        "property": planted.SPELL_PROPERTY,
        "building": planted.SPELL_BUILDING,
        "units": len(tags),
        "window": [f"{w}" for w in window],
        "extra_planned": planted.SPELL_EXTRA,
        "failures": failures,
        "found_by": "repeats (clusters)",
    }


def lemon_key(story: Story) -> dict[str, object]:
    """Return the units that keep failing and how often they truly did."""
    counts = Counter(tag for _, tag, _ in failures_logged(story))
    years: Counter[str] = Counter()
    for unit in story.units:
        years[unit.tag] += service_years(unit)  # type: ignore[assignment]
    rest = sum(n for t, n in counts.items() if t not in story.lemons) / sum(
        y for t, y in years.items() if t not in story.lemons
    )
    factors = {u.tag: u.lemon for u in story.units if u.tag in story.lemons}
    return {
        "units": [
            {
                "equipment_id": t,
                "factor": factors[t],
                "failures": counts[t],
                "ratio": round(counts[t] / years[t] / rest, 2),
            }
            for t in story.lemons
        ],
        "rate_elsewhere": round(rest, 3),
        "found_by": "repeats (units)",
    }


def people_key(story: Story) -> dict[str, object]:
    """Return each technician's rule, work and true call-backs."""
    rows: dict[str, dict[str, object]] = {}
    for name in (*TECHNICIANS, planted.VENDOR):
        mine = [
            v for k, v in enumerate(story.office.visits) if k in story.visit_ids and name in (v.technician, v.vendor)
        ]
        calls = [
            v
            for v in mine
            if v.task.kind in ("call", "follow-up") and v.row["outcome"] not in ("no access", "waiting for part")
        ]
        back = sum(v.truth.get("comes_back") == "yes" for v in calls)
        tech = TECHNICIANS.get(name)
        rows[name] = {
            "visits": len(mine),
            "calls": len(calls),
            "came_back": back,
            "share": round(back / max(1, len(calls)), 3),
            "changes_below_pct": tech.changes_below if tech else None,
            "meter": tech.meter if tech else None,
            "callback_factor": tech.callback_factor if tech else 1.0,
        }
    calls_all = sum(int(str(r["calls"])) for r in rows.values())
    back_all = sum(int(str(r["came_back"])) for r in rows.values())
    return {
        "base_share": planted.CALLBACK_SHARE,
        "all_calls": calls_all,
        "all_came_back": back_all,
        "all_share": round(back_all / calls_all, 3),
        "by_person": rows,
        "found_by": "repeats (callbacks)",
    }


def meter_key() -> dict[str, object]:
    """Return each meter's true bias, absolute and against the plain mean of the meters."""
    mean = sum(METER_BIAS.values()) / len(METER_BIAS)
    return {
        "bias_pct": METER_BIAS,
        "bias_against_mean_pct": {m: round(b - mean, 2) for m, b in METER_BIAS.items()},
        "noise_pct": planted.NOISE_PCT,
        "found_by": "meters",
    }


def money_of(files: Files) -> dict[str, str]:
    """Return the recorded money of all clean records, to the cent; negative money counts as credit."""
    sums: dict[str, Decimal] = defaultdict(Decimal)

    def add(kind: str, amount: Decimal) -> None:
        sums["credit" if amount < 0 else kind] += abs(amount)

    def cells(record: Record, column: str) -> Decimal:
        return Decimal(record.cells.get(column) or "0")

    for records in files.files.values():
        for record in records:
            if record.becomes != "clean":
                continue
            if record.table == "visits":
                for kind in ("labor", "refrigerant", "other"):
                    add(kind, cells(record, f"{kind}_cost"))
            elif record.table == "parts_used":
                add("parts", cells(record, "quantity") * cells(record, "unit_cost"))
                sums["credit"] += cells(record, "credit")
    total = sums["labor"] + sums["parts"] + sums["refrigerant"] + sums["other"] - sums["credit"]
    return {k: f"{v:.2f}" for k, v in (*sorted(sums.items()), ("total", total))}


def totals(story: Story, files: Files) -> dict[str, object]:
    """Return the counts a perfect load ends with."""
    classes = files.classes()
    by_table: dict[str, Counter[str]] = defaultdict(Counter)
    for name, counts in classes.items():
        by_table["visits" if name.startswith("visits") else name.removesuffix(".csv")].update(counts)
    reasons = Counter(r.reason for rs in files.files.values() for r in rs if r.becomes == "quarantined")
    failures = Counter(name for _, _, name in failures_logged(story))
    return {
        "files": classes,
        "tables": {t: dict(c) for t, c in sorted(by_table.items())},
        "quarantine_reasons": dict(sorted(reasons.items())),
        "money": money_of(files),
        "unit_years_in_service": round(sum(service_years(u) for u in story.units), 1),
        "true_failures": {n: failures[n] for n in NAMES if n != "no fault found"},
        "true_failures_all": sum(failures.values()),
        "visits_lost_in_gap": story.lost_in_gap,
        "apartments": len(story.world.units),
    }


def answer_key(story: Story, files: Files) -> dict[str, object]:
    """Return the whole key, ready for JSON."""
    replaced = [u for u in story.units if u.retired and u.retired >= LOG_FROM]
    drift = {
        "start_mean_pct": planted.DRIFT_START_MEAN,
        "start_sd_pct": planted.DRIFT_START_SD,
        "slope_mean_pct_per_heat_year": -planted.DRIFT_SLOPE_MEAN,
        "slope_cv": planted.DRIFT_SLOPE_CV,
        "hazard_knee_pct": planted.DRIFT_KNEE,
        "hazard_per_pct": planted.DRIFT_HAZARD,
    }
    slopes = story.world.slope[~story.world.removed]
    drift["slope_mean_in_service"] = round(-float(slopes.mean()), 3)
    odd = sorted({u.tag for u in story.units if u.family == "T9R"})
    return {
        "seed": planted.SEED,
        "window": [f"{LOG_FROM}", f"{LOG_TO}"],
        "planted": {
            "bad_family": family_key(story),
            "bad_lot": lot_key(story),
            "voltage_spell": spell_key(story),
            "lemons": lemon_key(story),
            "meters": meter_key(),
            "people": people_key(story),
            "rotary_hard_start": hard_start_key(story),
            "summers": {
                "hot": 2023,
                "mild": 2021,
                "anomaly_f": {str(y): a for y, a in planted.SUMMER_ANOMALY_F.items()},
            },
            "campaign": {"why": "preventive", "visits": story.campaign},
        },
        "traps": {
            "coverage_gap": {
                "property": planted.GAP_PROPERTY,
                "from": f"{planted.GAP_FROM}",
                "to": f"{planted.GAP_TO}",
            },
            "unit_replaced": {
                "count": len([u for u in replaced if u.tag not in dict(planted.REMOVED_UNITS)]),
                **story.forgotten,
            },
            "retired_without_successor": [t for t, _ in planted.REMOVED_UNITS],
            "rating_not_in_catalogue": {
                "family": "T9R",
                "rating": "27.5/4",
                "units": odd,
                "note": "their run capacitors were bought over the counter: part_no is blank",
            },
            "same_building_names": "both complexes have buildings 1 to 8",
            "catalogue_without_lead_time": ["PC-8K"],
            "occupancy_dates": "month/day/year; every other file ISO",
        },
        "truth": {
            "components": [
                {
                    "name": c.name,
                    "shape": c.shape,
                    "scale_heat_years": round(c.scale, 2),
                    "heat_share": c.heat_share,
                    "startup": c.startup,
                }
                for c in COMPONENTS
            ],
            "drift": drift,
            "forecast": true_forecast(story.world),
        },
        "totals": totals(story, files),
        "dirty": files.listing(),
    }

"""Logs under headers of their own, ten ways of writing them, each with what every column truly means.

One invented fleet is written down by ten invented offices. A column is its header, its meaning, what stands there and
how that is written; columns are parted by semicolons. A meaning of - has no place in the contract; ``arrived_at time``
is a time of day whose date stands elsewhere.
"""

import datetime as dt
import random
import re
from dataclasses import dataclass, field

from fleet.ingest.draft import SeenTable

TECHS = ("Rosalind", "Teo", "Marguerite", "Idris")
RATINGS = ((35, 5), (40, 5), (45, 5), (30, 5), (45, 7.5))
FAULTS = (
    ("no cooling", "run capacitor", "dual cap", "RC-4055", 18.40),
    ("no cooling", "contactor", "contactor", "CT-1P30", 14.25),
    ("poor cooling", "refrigerant leak", "low charge", "", 0.0),
    ("water leak", "drain clog", "clogged drain", "", 0.0),
    ("breaker trip", "compressor", "compressor", "CP-24K", 412.0),
    ("noise", "fan motor", "cond fan motor", "FM-1075", 96.5),
    ("no cooling", "no fault found", "NFF", "", 0.0),
    ("preventive maintenance", "dirty coil", "dirty coil", "", 0.0),
    ("no cooling", "thermostat", "t-stat", "TS-24V", 31.0),
)


@dataclass
class Fleet:
    """Units and visits of an invented complex, as plain dictionaries."""

    units: list = field(default_factory=list)
    visits: list = field(default_factory=list)


def make_fleet(seed=11, n_units=48, n_visits=160):
    rng = random.Random(seed)
    fleet = Fleet()
    for i in range(n_units):
        herm, fan = rng.choice(RATINGS)
        building = i % 6 + 1
        fleet.units.append(
            {
                "tag": f"JC{building:02d}-{101 + i // 6}", "property": "Juniper Court", "building": f"{building}",
                "apartment": f"{101 + i // 6}", "model": f"K{rng.choice('24')}R0{rng.choice(('18', '24', '30'))}-A",
                "family": rng.choice(("K2R", "N5P")), "compressor": rng.choice(("scroll", "recip", "rotary")),
                "tons": rng.choice((1.5, 2.0, 2.5)), "gas": rng.choice(("R-22", "R-410A")),
                "charge": rng.randint(52, 96),
                "installed": dt.date(rng.randint(2004, 2020), rng.randint(1, 12), rng.randint(1, 28)),
                "herm": herm, "fan": fan, "rating": f"{herm}/{fan}", "serial": f"{rng.randint(10**8, 10**9)}",
            }
        )  # fmt: skip
    for i in range(n_visits):
        unit = rng.choice(fleet.units)
        call, fault, word, part, price = rng.choice(FAULTS)
        called = dt.datetime(2023, 4, 1, 7, 0) + dt.timedelta(minutes=rng.randint(0, 600 * 1440))
        arrived = called + dt.timedelta(minutes=rng.randint(20, 400))
        minutes = rng.choice((20, 30, 35, 45, 60, 75, 90, 120))
        found = round(unit["herm"] * rng.uniform(0.84, 1.02), 1), round(unit["fan"] * rng.uniform(0.84, 1.02), 2)
        fleet.visits.append(
            {
                "unit": unit, "no": f"{23000 + i}", "called": called, "arrived": arrived,
                "finished": arrived + dt.timedelta(minutes=minutes), "minutes": minutes, "call": call, "fault": fault,
                "word": word, "part": part, "price": price, "tech": rng.choice(TECHS), "night": called.hour >= 17,
                "labor": round(minutes * 0.71, 2),
                "ounces": rng.choice((12, 20, 26, 34)) if fault == "refrigerant leak" else None,
                "outcome": rng.choice(("fixed", "fixed", "waiting on part", "temp fix")),
                "indoor": rng.randint(76, 93),
                "herm_found": found[0] if fault in ("run capacitor", "dirty coil") else None,
                "fan_found": found[1] if fault in ("run capacitor", "dirty coil") else None,
                "lot": f"{rng.randint(18, 23)}W{rng.randint(1, 52):02d}", "meter": rng.choice(("M1", "M2", "M3")),
                "note": rng.choice(("replaced it and checked amps on both legs", "ran fine when we left the home",
                                    "resident says it was loud all night", "cleaned and rinsed, airflow is good now")),
                "phone": f"555-01{rng.randint(10, 99)}",
            }
        )  # fmt: skip
    fleet.visits.sort(key=lambda visit: visit["called"])
    return fleet


FLEET = make_fleet()


def iso(moment):
    return moment.strftime("%Y-%m-%d %H:%M:%S")


def us(moment):
    return f"{moment.month}/{moment.day}/{moment.year}"


def ampm(moment):
    return moment.strftime("%I:%M %p").lstrip("0")


WRITERS = {
    "": str, "iso": iso, "us": us, "us_time": lambda m: f"{us(m)} {ampm(m)}", "ampm": ampm,
    "clock": lambda m: m.strftime("%H:%M"), "euro": lambda m: m.strftime("%d/%m/%Y %H:%M"),
    "euro_day": lambda m: m.strftime("%d/%m/%Y"), "spelled": lambda m: m.strftime("%d %b %Y %H:%M"),
    "title": str.title, "caps": str.upper, "two": "{:.2f}".format, "dollars": "${:,.2f}".format,
    "comma": lambda x: f"{x:.2f}".replace(".", ","), "hours": lambda m: f"{m / 60:.2f}",
    "pounds": lambda oz: f"{oz / 16:.2f}", "kilos": lambda oz: f"{oz * 0.02835:.2f}",
    "btu": lambda x: f"{x * 12000:.0f}",
    "celsius": lambda f: f"{(f - 32) / 1.8:.1f}", "initial": lambda name: f"{name[0]}.",
    "yesno": lambda b: "Yes" if b else "No",
    "yn": lambda b: "Y" if b else "N", "x": lambda b: "x" if b else "", "higher": lambda v: f"{v * 1.03:.2f}",
}  # fmt: skip
"""How a value is put on paper."""


def written(record, said):
    """Return what stands in a record's cell: ``'text'`` itself, one of its entries, or one of its unit's."""
    if said.startswith("'"):
        return said.strip("'")
    key, _, writer = said.partition(" ")
    value = record["unit"][key[5:]] if key.startswith("unit.") else record[key]
    return "" if value is None or value == "" else WRITERS[writer](value)


def table(name, means, lines, records):
    """Return one file with its truth: (SeenTable, table, {position: meaning})."""
    columns = [[part.strip() for part in line.split("|")] for line in re.split(r";\s*", lines.strip())]
    rows = [[written(record, said) for _, _, said in columns] for record in records]
    seen = SeenTable(name=name, headers=[header for header, _, _ in columns], rows=rows, n_records=len(rows))
    return seen, means, {i: "" if meaning == "-" else meaning for i, (_, meaning, _) in enumerate(columns)}


def visits(name, lines):
    return table(name, "visits", lines, FLEET.visits)


def units(name, lines):
    return table(name, "equipment", lines, FLEET.units)


def with_parts(name, lines):
    return table(name, "parts_used", lines, [visit for visit in FLEET.visits if visit["part"]])


WEATHER = [
    {"day": dt.date(2024, 5, 1) + dt.timedelta(days=i), "high": 27 + i % 9, "low": 14 + i % 6} for i in range(60)
]
PRICES = [
    {"part": part, "word": word, "price": price, "weeks": 1 + i % 3}
    for i, (_, _, word, part, price) in enumerate(FAULTS)
    if part
]


def office_export():
    """A property office's export: title case, everything spelled out, columns of its own between."""
    return [
        visits("Service Calls Export.csv", """
            Call Number | visit_id | no; Resident Phone | - | phone; Condenser Tag | equipment_id | unit.tag;
            Date & Time Reported | reported_at | called us_time; Technician Arrival | arrived_at | arrived us_time;
            Date/Time Completed | finished_at | finished us_time; Nature of Call | call_type | call title;
            After-Hours? | after_hours | night yesno; Assigned Technician | technician | tech;
            Cause of Failure | finding | word; Disposition | outcome | outcome;
            Minutes Worked | labor_minutes | minutes; Labor Charge | labor_cost | labor dollars;
            Ounces of Refrigerant Added | refrigerant_added_oz | ounces; Inside Temperature | indoor_f | indoor;
            Technician Comments | notes | note
        """),
        units("Unit List.csv", """
            Condenser Tag | equipment_id | tag; Community | property | property; Building Number | building | building;
            Apartment Number | apartment | apartment; Model Number | model | model; Serial Number | - | serial;
            Compressor Style | compressor_type | compressor; Nominal Tons | tons | tons;
            Refrigerant Type | refrigerant | gas; Date Installed | installed_on | installed us;
            Rated Microfarads - Compressor | herm_uf | herm; Rated Microfarads - Fan | fan_uf | fan
        """),
        with_parts("Parts Issued.csv", """
            Call Number | visit_id | no; Part Number | part_no | part; Description | component | word;
            Quantity Issued | quantity | '1'; Price Each | unit_cost | price two; Maker's Date Code | lot | lot
        """),
    ]  # fmt: skip


def phone_form():
    """A form filled in on a phone: whole questions as headers."""
    return [
        visits("form answers.csv", """
            Timestamp | reported_at | called iso; Email address | - | 'desk@example.invalid';
            Which unit is it? | equipment_id | unit.tag; What is the complaint? | call_type | call;
            Who went? | technician | tech; When did you get there? | arrived_at | arrived iso;
            What was wrong? | finding | word; How was it left? | outcome | outcome;
            How many minutes did it take? | labor_minutes | minutes; Was it after hours? | after_hours | night yn;
            Temp inside the apartment | indoor_f | indoor; Herm reading (uF) | herm_found_uf | herm_found;
            Fan reading (uF) | fan_found_uf | fan_found; Anything else to note? | notes | note
        """),
    ]  # fmt: skip


def spanish_mix():
    """Half Spanish, half English, day before month, decimal commas."""
    return [
        visits("llamadas 2023.csv", """
            Folio | visit_id | no; Unidad | equipment_id | unit.tag; Fecha de llamada | reported_at | called euro;
            Llegada | arrived_at | arrived euro; Salida | finished_at | finished euro;
            Tipo de llamada | call_type | call; Técnico | technician | tech; Falla | finding | word;
            Resultado | outcome | outcome; Minutos | labor_minutes | minutes;
            Mano de obra $ | labor_cost | labor comma; Onzas freon | refrigerant_added_oz | ounces;
            Temp. interior | indoor_f | indoor; Observaciones | notes | note
        """),
        units("equipos.csv", """
            Unidad | equipment_id | tag; Edificio | building | building; Depto. | apartment | apartment;
            Modelo | model | model; No. de serie | - | serial; Compresor | compressor_type | compressor;
            Toneladas | tons | tons comma; Refrigerante | refrigerant | gas;
            Fecha instalación | installed_on | installed euro_day; Capacitor compresor | herm_uf | herm;
            Capacitor ventilador | fan_uf | fan
        """),
    ]  # fmt: skip


def all_caps():
    """A mainframe's column names: eight letters, glued together."""
    return [
        visits("SVCHIST.TXT", """
            WONUM | visit_id | no; UNITNO | equipment_id | unit.tag; RPTDT | reported_at | called iso;
            ARRDT | arrived_at | arrived iso; CMPLDT | finished_at | finished iso; CALLTYP | call_type | call caps;
            TECHCD | technician | tech caps; CAUSECD | finding | word caps; STATCD | outcome | outcome caps;
            LBRMIN | labor_minutes | minutes; LBRCOST | labor_cost | labor; RFGOZ | refrigerant_added_oz | ounces;
            OTFLAG | after_hours | night yn; REMARKS | notes | note caps
        """),
        units("EQPMAST.TXT", """
            UNITNO | equipment_id | tag; BLDGNO | building | building; APTNO | apartment | apartment;
            MODELNO | model | model; SERIALNO | - | serial; COMPTYP | compressor_type | compressor caps;
            INSTDT | installed_on | installed; RFGTYP | refrigerant | gas; CAPHERM | herm_uf | herm;
            CAPFAN | fan_uf | fan
        """),
        with_parts("PRTUSED.TXT", """
            WONUM | visit_id | no; PARTNO | part_no | part; PRTDESC | component | word caps; QTY | quantity | '1';
            UNITPRC | unit_cost | price; LOTNO | lot | lot; RSNCD | why | 'FAILED'
        """),
    ]  # fmt: skip


def wide_sheet():
    """One sheet for everything, the shop's own."""
    return [
        visits("Cooling log.csv", """
            Date | reported_at | called us; Time In | arrived_at time | arrived ampm;
            Time Out | finished_at time | finished ampm; Bldg | building | unit.building;
            Apt | apartment | unit.apartment; AC Tag | equipment_id | unit.tag;
            Comp. Type | compressor_type | unit.compressor; Rated H | herm_uf | unit.herm; Rated F | fan_uf | unit.fan;
            Complaint | call_type | call; Found | finding | word; H found | herm_found_uf | herm_found;
            F found | fan_found_uf | fan_found; Meter | meter | meter; Part # | part_no | part;
            Qty | part_quantity | '1'; Part $ | part_cost | price two; Date code | part_lot | lot;
            Lbr hrs | labor_minutes | minutes hours; Tech | technician | tech; Notes | notes | note
        """),
    ]  # fmt: skip


def abbreviations():
    """A clipboard's shorthand, typed up."""
    return [
        visits("log.csv", """
            W/O # | visit_id | no; Cond. # | equipment_id | unit.tag; Dt Rptd | reported_at | called us;
            Tm Rptd | reported_at time | called ampm; Arr. Tm | arrived_at time | arrived ampm;
            Compl. Tm | finished_at time | finished ampm; Prob. | call_type | call;
            Tech Init. | technician | tech initial; Diag. | finding | word; Disp. | outcome | outcome;
            OT? | after_hours | night x; Lbr Min | labor_minutes | minutes; Lbr $ | labor_cost | labor;
            Refrig. Lbs | refrigerant_added_oz | ounces pounds; Ins. Temp | indoor_f | indoor; Cmts | notes | note
        """),
        units("equip.csv", """
            Cond. # | equipment_id | tag; Bldg # | building | building; Apt # | apartment | apartment;
            Mod. # | model | model; Ser. # | - | serial; Inst. Dt | installed_on | installed us;
            Cap. Rtg | herm_uf | rating; Ref. Type | refrigerant | gas; Chg Oz | charge_oz | charge
        """),
    ]  # fmt: skip


def with_units():
    """Units in the headers, most of them not the contract's."""
    return [
        visits("jobs.csv", """
            Job ID | visit_id | no; Unit ID | equipment_id | unit.tag;
            Reported (local time) | reported_at | called spelled; Labor (hrs) | labor_minutes | minutes hours;
            Labor (USD) | labor_cost | labor; Refrigerant added (lb) | refrigerant_added_oz | ounces pounds;
            Indoor temp (°C) | indoor_f | indoor celsius; Fault | finding | word; Type of call | call_type | call
        """),
        units("assets.csv", """
            Unit ID | equipment_id | tag; Building | building | building; Capacity (BTU/h) | tons | tons btu;
            Factory charge (kg) | charge_oz | charge kilos; Herm (µF) | herm_uf | herm; Fan (µF) | fan_uf | fan;
            Tolerance (±%) | tolerance_pct | '6'
        """),
        table("weather station.csv", "weather", """
            Day | date | day; Max °C | high_c | high; Min °C | low_c | low; Rain (mm) | - | '0'
        """, WEATHER),
        table("price list.csv", "catalogue", """
            Item No. | part_no | part; Item Description | component | word; Price (USD) | unit_cost | price two;
            Lead time (weeks) | lead_time_days | weeks; Qty per box | pack_size | '1'
        """, PRICES),
    ]  # fmt: skip


def two_line_titles():
    """A workbook's print layout: a title, then groups over the headers."""
    seen, means, truth = visits("Report.csv", """
            No. | visit_id | no; Tag | equipment_id | unit.tag; Reported | reported_at | called us_time;
            Arrived | arrived_at | arrived us_time; Herm | herm_found_uf | herm_found; Fan | fan_found_uf | fan_found;
            Herm | herm_left_uf | herm_found higher; Fan | fan_left_uf | fan_found higher; Diagnosis | finding | word;
            Result | outcome | outcome; Tech | technician | tech
        """)  # fmt: skip
    title = ["Juniper Court service report 2023-2024", *[""] * 10]
    groups = ["Call", "", "", "", "As found", "", "As left", "", "Work", "", ""]
    rows = [groups, list(seen.headers), *seen.rows]
    return [(SeenTable(name="Report.csv", headers=title, rows=rows, n_records=len(rows)), means, truth)]


def database_names():
    """A database's columns in snake case, with an audit trail."""
    return [
        visits("maint.db:wo_header", """
            wo_id | visit_id | no; asset_tag | equipment_id | unit.tag; opened_ts | reported_at | called iso;
            onsite_ts | arrived_at | arrived iso; closed_ts | finished_at | finished iso;
            last_updated_ts | - | finished iso; problem_cd | call_type | call; tech_nm | technician | tech;
            failed_component | finding | fault; resolution_cd | outcome | outcome;
            mins_worked | labor_minutes | minutes; labor_amt | labor_cost | labor; work_notes | notes | note
        """),
        units("maint.db:asset", """
            asset_tag | equipment_id | tag; site_nm | property | property; bldg_cd | building | building;
            unit_nbr | apartment | apartment; serial_nbr | - | serial; model_nbr | model | model;
            install_dt | installed_on | installed; compressor_type_cd | compressor_type | compressor
        """),
        with_parts("maint.db:wo_material", """
            wo_id | visit_id | no; sku | part_no | part; sku_desc | component | word; qty_used | quantity | '1';
            unit_cost_amt | unit_cost | price; pulled_from | taken_from | unit.building
        """),
    ]  # fmt: skip


def opaque():
    """Headers that say next to nothing: values and other files' tags have to."""
    return [
        visits("book1.csv", """
            When | reported_at | called us_time; A | equipment_id | unit.tag; B | call_type | call; C | finding | word;
            Long text | notes | note
        """),
        units("units.csv", """
            Label | equipment_id | tag; Bldg | building | building; Kind | compressor_type | compressor;
            Gas | refrigerant | gas
        """),
    ]  # fmt: skip


STYLES = {
    style.__name__: style
    for style in (office_export, phone_form, spanish_mix, all_caps, wide_sheet, abbreviations, with_units,
                  two_line_titles, database_names, opaque)
}  # fmt: skip

"""Every number of the invented world: components, families, catalogue, people, and what is planted on purpose."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

# Of 150 seeds tried, the one whose realized ratios lie closest to what is planted (README.md says so).
SEED = 20260214
WORLD_FROM = date(2004, 1, 1)
WEATHER_FROM = date(2010, 1, 1)
LOG_FROM = date(2020, 1, 1)
LOG_TO = date(2025, 12, 31)


@dataclass(frozen=True, slots=True, kw_only=True)
class Component:
    """How one component fails (Weibull shape, scale in heat-years, share that follows heat) and the work it makes."""

    name: str
    shape: float = 1.0
    scale: float
    heat_share: float
    startup: float = 0.0
    minutes: int
    part_share: float = 1.0
    wait_share: float = 0.0


# The wear components come first: only their ages matter. A heat-year is one year of average heat in an occupied home.
COMPONENTS: tuple[Component, ...] = (
    Component(name="run capacitor", shape=2.0, scale=14.0, heat_share=0.95, startup=1.5, minutes=35, wait_share=0.04),
    Component(name="contactor", shape=1.8, scale=20.0, heat_share=0.9, startup=3.0, minutes=40, wait_share=0.05),
    Component(name="fan motor", shape=2.2, scale=22.0, heat_share=0.9, startup=1.0, minutes=75, wait_share=0.35),
    Component(name="compressor", shape=2.5, scale=34.0, heat_share=0.95, startup=0.5, minutes=240, wait_share=0.85),
    Component(name="hard start", shape=1.5, scale=20.0, heat_share=0.95, startup=1.5, minutes=35, wait_share=0.10),
    Component(name="thermostat", scale=1 / 0.030, heat_share=0.4, startup=0.5, minutes=35, part_share=0.7),
    Component(
        name="control board", scale=1 / 0.013, heat_share=0.7, startup=1.0, minutes=60, part_share=0.95, wait_share=0.45
    ),
    Component(name="transformer", scale=1 / 0.010, heat_share=0.6, startup=1.0, minutes=50, wait_share=0.08),
    Component(name="breaker or disconnect", scale=1 / 0.013, heat_share=0.9, startup=0.5, minutes=50, part_share=0.75),
    Component(name="wiring", scale=1 / 0.022, heat_share=0.7, startup=2.0, minutes=55, part_share=0.0),
    Component(name="refrigerant leak", scale=1 / 0.032, heat_share=0.8, startup=2.0, minutes=120, part_share=0.0),
    Component(name="metering device", scale=1 / 0.006, heat_share=0.8, minutes=180, wait_share=0.6),
    Component(name="blower motor", scale=1 / 0.016, heat_share=0.6, minutes=95, wait_share=0.4),
    Component(name="dirty coil", scale=1 / 0.026, heat_share=0.9, minutes=70, part_share=0.0),
    Component(name="dirty filter", scale=1 / 0.040, heat_share=0.8, startup=1.0, minutes=25, part_share=0.8),
    Component(name="drain clog", scale=1 / 0.050, heat_share=0.9, minutes=45, part_share=0.0),
    Component(name="no fault found", scale=1 / 0.045, heat_share=0.85, startup=0.5, minutes=30, part_share=0.0),
)
NAMES = tuple(c.name for c in COMPONENTS)
WEAR = 5
CAPACITOR, CONTACTOR, FAN_MOTOR, COMPRESSOR, HARD_START = range(WEAR)
NO_FAULT = NAMES.index("no fault found")
LEAK = NAMES.index("refrigerant leak")
FILTER = NAMES.index("dirty filter")
WIRING = NAMES.index("wiring")

# Run-capacitor drift: start deviation (percent of rated), slope (percent of rated per heat-year, lognormal), and
# what a low section does to the hazard of the part: times exp(DRIFT_HAZARD x percent below DRIFT_KNEE).
DRIFT_START_MEAN, DRIFT_START_SD = 0.3, 1.4
DRIFT_SLOPE_MEAN, DRIFT_SLOPE_CV, DRIFT_SECTION_SD = 0.60, 0.60, 0.35
DRIFT_KNEE, DRIFT_HAZARD = -4.0, 0.30
NOISE_PCT = 0.9
RUNNING_NOISE_PCT = 2.2
VACANT_RUN = 0.08


@dataclass(frozen=True, slots=True, kw_only=True)
class Family:
    """One invented model family: what its data plates say, by size code (tons, herm µF, fan µF or 0 for none)."""

    kind: str
    refrigerant: str
    sizes: dict[str, tuple[float, float, float]]
    kit_share: float
    tolerance: str = "6"
    new: bool = False


FAMILIES: dict[str, Family] = {
    "K2R": Family(kind="rotary", refrigerant="R-22", kit_share=0.45,
                  sizes={"018": (1.5, 30, 5), "024": (2.0, 35, 5), "030": (2.5, 45, 5)}),
    "K4R": Family(kind="rotary", refrigerant="R-410A", kit_share=0.42,
                  sizes={"018": (1.5, 30, 5), "024": (2.0, 35, 5), "030": (2.5, 40, 5)}),
    "L1S": Family(kind="scroll", refrigerant="R-410A", kit_share=0.12,
                  sizes={"018": (1.5, 30, 5), "024": (2.0, 35, 5), "030": (2.5, 45, 5)}),
    "M3R": Family(kind="rotary", refrigerant="R-410A", kit_share=0.42,
                  sizes={"018": (1.5, 35, 5), "024": (2.0, 35, 5), "030": (2.5, 45, 5)}),
    "N5P": Family(kind="reciprocating", refrigerant="R-22", kit_share=0.50, tolerance="10",
                  sizes={"018": (1.5, 30, 5), "024": (2.0, 40, 5)}),
    "P2S": Family(kind="scroll", refrigerant="R-410A", kit_share=0.10, new=True,
                  sizes={"018": (1.5, 35, 5), "024": (2.0, 40, 5), "030": (2.5, 45, 0)}),
    "R6R": Family(kind="rotary", refrigerant="R-410A", kit_share=0.40, new=True,
                  sizes={"018": (1.5, 30, 5), "024": (2.0, 35, 5), "030": (2.5, 50, 5)}),
    "T9R": Family(kind="rotary", refrigerant="R-410A", kit_share=0.40, tolerance="5",
                  sizes={"024": (2.0, 27.5, 4)}),
}  # fmt: skip
START_RANGE = {"018": (88, 108), "024": (130, 156), "030": (189, 227)}

# Which families a building was fitted with before the log: (family, first year, last year, weight).
Mix = tuple[tuple[str, int, int, float], ...]
OLD: Mix = (("N5P", 2004, 2009, 0.25), ("K2R", 2005, 2011, 0.35), ("K4R", 2012, 2019, 0.3), ("L1S", 2009, 2015, 0.1))
MIDDLE: Mix = (("K2R", 2006, 2011, 0.3), ("L1S", 2009, 2015, 0.3), ("M3R", 2013, 2018, 0.2), ("R6R", 2018, 2019, 0.2))
SPELL: Mix = (("K4R", 2013, 2018, 0.55), ("L1S", 2010, 2015, 0.3), ("P2S", 2016, 2019, 0.15))
LATE: Mix = (("M3R", 2013, 2018, 0.4), ("K4R", 2013, 2019, 0.3), ("P2S", 2016, 2019, 0.3))
NEW: Mix = (("P2S", 2016, 2019, 0.35), ("R6R", 2018, 2019, 0.3), ("K4R", 2014, 2019, 0.35))
TANSY_OLD: Mix = (
    ("N5P", 2004, 2010, 0.25),
    ("K2R", 2006, 2011, 0.3),
    ("T9R", 2009, 2012, 0.25),
    ("L1S", 2009, 2016, 0.2),
)
TANSY_MIDDLE: Mix = (
    ("L1S", 2008, 2016, 0.35),
    ("K4R", 2012, 2019, 0.25),
    ("M3R", 2013, 2018, 0.2),
    ("K2R", 2008, 2011, 0.2),
)
TANSY_NEW: Mix = (
    ("K4R", 2013, 2019, 0.3),
    ("P2S", 2016, 2019, 0.25),
    ("R6R", 2018, 2019, 0.2),
    ("M3R", 2013, 2018, 0.25),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Property:
    """One invented complex: tag prefix, hours, and its buildings' apartments and mixes of families."""

    name: str
    prefix: str
    hours: tuple[str, str]
    workdays: str
    buildings: tuple[tuple[str, int, Mix], ...]


PROPERTIES: tuple[Property, ...] = (
    Property(name="Quernstone Court", prefix="QC", hours=("8:00", "17:00"), workdays="mon-fri", buildings=(
        ("1", 22, OLD), ("2", 22, OLD), ("3", 22, OLD), ("4", 22, MIDDLE), ("5", 22, MIDDLE), ("6", 22, MIDDLE),
        ("7", 25, SPELL), ("8", 22, LATE), ("9", 22, LATE), ("10", 22, LATE), ("11", 22, NEW), ("12", 22, NEW))),
    Property(name="Tansyfield Commons", prefix="TF", hours=("7:30", "16:00"), workdays="mon-sat", buildings=(
        ("1", 24, TANSY_OLD), ("2", 24, TANSY_OLD), ("3", 24, TANSY_MIDDLE), ("4", 24, TANSY_MIDDLE),
        ("5", 24, TANSY_MIDDLE), ("6", 24, TANSY_NEW), ("7", 24, TANSY_NEW), ("8", 24, TANSY_NEW))),
)  # fmt: skip
NO_SHELF = {("Quernstone Court", "2"), ("Quernstone Court", "6"), ("Quernstone Court", "9"), ("Quernstone Court", "12"),
            ("Tansyfield Commons", "2"), ("Tansyfield Commons", "5"), ("Tansyfield Commons", "8")}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Technician:
    """One invented person: share of the work by property, meter mostly carried, habits."""

    share: tuple[float, float]
    meter: str
    changes_below: float = -6.0
    callback_factor: float = 1.0


# Hours in which calls come in (hour, weight), and how often a call for a component also gets readings.
HOURS = tuple(
    (h, w) for h, w in enumerate((1, 1, 0.5, 0.3, 0.3, 0.5, 2, 4, 6, 7, 7, 6, 6, 6, 7, 8, 9, 10, 10, 9, 8, 6, 4, 2))
)
MEASURED = {
    "run capacitor": 0.95,
    "contactor": 0.6,
    "fan motor": 0.85,
    "compressor": 0.9,
    "hard start": 0.9,
    "no fault found": 0.6,
    "wiring": 0.4,
    "dirty coil": 0.5,
    "refrigerant leak": 0.4,
    "metering device": 0.4,
    "breaker or disconnect": 0.4,
}

CALLBACK_SHARE = 0.052
TECHNICIANS: dict[str, Technician] = {
    "Wren": Technician(share=(0.30, 0.08), meter="M1"),
    "Dario": Technician(share=(0.25, 0.15), meter="M2", changes_below=-4.0),
    "Tov": Technician(share=(0.20, 0.17), meter="M3", changes_below=-9.0),
    "K.B.": Technician(share=(0.15, 0.20), meter="M4", callback_factor=3.0),
    "Lupe": Technician(share=(0.10, 0.40), meter="M5"),
}
VENDOR = "Ostrel Mechanical"
METER_BIAS = {"M1": 0.3, "M2": -0.2, "M3": -3.0, "M4": 0.5, "M5": -0.4}
METER_OWN_SHARE = 0.55

# Planted on purpose (README.md tells each in words).
# The bad family's parts age faster by these factors; with what else drives its calls, its rates are about 2.5 times
# everyone else's.
BAD_FAMILY, BAD_FAMILY_FACTORS = "M3R", {CAPACITOR: 2.1, CONTACTOR: 2.3}
BAD_LOT_PART, BAD_LOT = "RC-355-44", "22W08"
BAD_LOT_FROM, BAD_LOT_TO, BAD_LOT_FACTOR, BAD_LOT_MONTHS = date(2022, 2, 21), date(2022, 12, 16), 6.0, 18
CAMPAIGN_YEAR, CAMPAIGN_PIECES = 2022, 24
CAMPAIGN_BUILDINGS = tuple(("Quernstone Court", b) for b in ("1", "3", "5", "11"))
SPELL_PROPERTY, SPELL_BUILDING, SPELL_FROM, SPELL_TO, SPELL_EXTRA = (
    "Quernstone Court", "7", date(2024, 6, 24), date(2024, 8, 3), 9)  # fmt: skip
LEMONS, LEMON_FACTORS = 12, (3.0, 4.8)
ROTARY_HARD_START_FACTOR = 2.0
GAP_PROPERTY, GAP_FROM, GAP_TO = "Tansyfield Commons", date(2021, 5, 3), date(2021, 6, 13)
PROGRAM_PROPERTY, PROGRAM_BUILDING, PROGRAM_UNITS, PROGRAM_FROM = "Tansyfield Commons", "2", 8, date(2024, 11, 11)
REMOVED_UNITS = (("QC12-211", date(2021, 10, 15)), ("QC12-210", date(2021, 10, 15)), ("QC12-209", date(2022, 3, 4)))
SUMMER_ANOMALY_F = {2004: -1.0, 2005: 0.5, 2006: 1.5, 2007: 0.0, 2008: -0.5, 2009: 0.4, 2010: 0.6, 2011: 3.2, 2012: 1.0,
                    2013: -0.6, 2014: -1.4, 2015: 0.3, 2016: 0.9, 2017: -0.3, 2018: 1.4, 2019: -0.8, 2020: 0.7,
                    2021: -3.6, 2022: 1.6, 2023: 4.6, 2024: 0.8, 2025: 0.2}  # fmt: skip
ROUND_SHARE = {2020: 0.28, 2021: 0.46, 2022: 0.5, 2023: 0.42, 2024: 0.55, 2025: 0.5}
PRICE_INDEX = {2020: 0.74, 2021: 0.79, 2022: 0.90, 2023: 0.95, 2024: 0.98, 2025: 1.00}

RATED_440_FROM = date(2021, 6, 1)
CATALOGUE_COLUMNS = ("part_no", "component", "herm_uf", "fan_uf", "volts", "start_uf_min", "start_uf_max", "tons",
                     "unit_cost", "lead_time_days", "pack_size", "shelf_life_months", "fits")  # fmt: skip
ROTARIES = "K2R;K4R;M3R;R6R;T9R"
EVERY = "K2R;K4R;L1S;M3R;N5P;P2S;R6R;T9R"
CATALOGUE = f"""
RC-305-37|run capacitor|30|5|370||||13.20|4|1||
RC-355-37|run capacitor|35|5|370||||13.90|4|1||
RC-405-37|run capacitor|40|5|370||||14.80|6|1||
RC-455-37|run capacitor|45|5|370||||15.60|6|1||
RC-255-44|run capacitor|25|5|440||||14.10|7|1||
RC-305-44|run capacitor|30|5|440||||15.40|3|5||
RC-355-44|run capacitor|35|5|440||||16.20|3|5||
RC-405-44|run capacitor|40|5|440||||17.90|3|5||
RC-455-44|run capacitor|45|5|440||||18.70|3|5||
RC-505-44|run capacitor|50|5|440||||21.30|9|1||
RC-45S-44|run capacitor|45||440||||14.60|7|1||
RC-05F-44|run capacitor||5|440||||6.90|7|1||
HS-088|hard start|||250|88|108||27.50|7|1|24|
HS-130|hard start|||250|130|156||31.80|7|1|24|
HS-189|hard start|||330|189|227||38.40|12|1|24|
CT-1P30|contactor|||24||||17.60|3|1||K2R;K4R;L1S;N5P;T9R
CT-2P30|contactor|||24||||23.90|5|1||M3R;P2S;R6R
FM-08|fan motor|||230||||96.00|8|1||K2R;N5P;T9R
FM-06|fan motor|||230||||112.00|10|1||K4R;L1S;M3R
FM-05V|fan motor|||230||||148.00|18|1||P2S;R6R
CR-15|compressor|||230|||1.5|412.00|12|1||{ROTARIES}
CR-20|compressor|||230|||2|468.00|12|1||{ROTARIES}
CR-25|compressor|||230|||2.5|539.00|21|1||{ROTARIES}
CS-15|compressor|||230|||1.5|486.00|14|1||L1S;P2S
CS-20|compressor|||230|||2|552.00|14|1||L1S;P2S
CS-25|compressor|||230|||2.5|618.00|21|1||L1S;P2S
CP-15|compressor|||230|||1.5|455.00|45|1||N5P
CP-20|compressor|||230|||2|498.00|45|1||N5P
BM-13|blower motor|||230||||138.00|9|1||K2R;K4R;L1S;N5P;T9R
BM-12V|blower motor|||230||||226.00|20|1||M3R;P2S;R6R
TH-24|thermostat|||24||||41.00|5|1||{EVERY}
TR-2440|transformer|||24||||19.80|5|1||{EVERY}
CB-1|control board|||24||||88.00|16|1||K2R;K4R;L1S;N5P;T9R
CB-2|control board|||24||||134.00|24|1||M3R;P2S;R6R
DS-60|breaker or disconnect|||240||||18.90|4|1||K2R;K4R;N5P;T9R
BR-30|breaker or disconnect|||240||||14.70|4|1||L1S;M3R;P2S;R6R
MD-P|metering device|||||||11.50|11|1||K2R;N5P;T9R
MD-X|metering device|||||||92.00|15|1||K4R;L1S;M3R;P2S;R6R
FL-1620|dirty filter|||||||3.10|3|12||{EVERY}
RG-22|refrigerant|||||||52.00|10|1||K2R;N5P
RG-410|refrigerant|||||||14.50|5|1||K4R;L1S;M3R;P2S;R6R;T9R
PC-8K|portable cooler|||120||||329.00||1||
WU-15|whole unit|||230|||1.5|1540.00|30|1||{EVERY}
WU-20|whole unit|||230|||2|1735.00|30|1||{EVERY}
WU-25|whole unit|||230|||2.5|1980.00|35|1||{EVERY}
"""

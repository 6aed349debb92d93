"""Dates and times of day, read by the macros alone (tests/unit/test_dates.py reads whole logs)."""

import datetime as dt

import pytest
from macro_engine import macro_engine, read_all

from fleet.errors import SourceError
from fleet.ingest.dates import Shapes, decide_order, shapes_sql


@pytest.fixture(scope="module")
def engine(tmp_path_factory):
    with macro_engine(tmp_path_factory.mktemp("engine")) as database:
        yield database


JULY_1 = dt.datetime(2024, 7, 1)

DAY = [
    "2024-07-01", "2024/07/01", "2024.07.01", "2024-7-1", "20240701", " 2024-07-01 ", "'2024-07-01", "Mon 2024-07-01",
    "2024-07-01 (Mon)", "2024 Jul 1", "2024-Jul-01", "July 1, 2024", "July 1 2024", "Jul 1, 2024", "Jul. 1, 2024",
    "july 1st, 2024", "July 01, 2024", "Monday, July 1, 2024", "Monday July 1, 2024", "Mon. July 1, 2024",
    "Jul-01-2024",
    "1 July 2024", "01 Jul 2024", "1 Jul. 2024", "1st of July 2024", "1. July 2024", "Mon, 1 Jul 2024", "01JUL2024",
    "1-Jul-2024", "01-Jul-24", "1 Jul 24", "1 July '24", "01/Jul/2024", "July 1, '24", "1 de julio de 2024",
    "1 jul 2024",
    "45474", "45474.0", "45,474", "２０２４-０７-０１", "2024\u201107\u201101", "2024-07-01\u00a0", "2024-07-01 0:00",
    "2024-07-01 12:00 AM", "2024-07-01 midnight", "2024-06-30 24:00", "Sunday, June 30, 2024 24:00",
]  # fmt: skip
MINUTE = [
    "2024-07-01 14:05", "2024-07-01T14:05", "2024-07-01 14:05:00", "2024-07-01 14:05:00.000", "2024-07-01T14:05Z",
    "2024-07-01T14:05:00+02:00", "2024-07-01T14:05:00-0500", "2024-07-01 14:05:00-05", "2024-07-01 14:05 EST",
    "2024-07-01 14:05:00 UTC", "2024-07-01 2:05 PM", "2024-07-01 02:05:00 pm", "2024-07-01 2:05 p.m.",
    "2024-07-01 2:05p",
    "2024/07/01 14:05", "20240701T1405", "20240701T140500", "20240701140500", "20240701 14:05", "2024-07-01 14.05",
    "2024-07-01 14h05", "2024-07-01 1405", "2024-07-01, 14:05", "2024-07-01 - 14:05", "July 1, 2024 2:05 PM",
    "July 1, 2024 at 2:05 PM", "Monday, July 1, 2024, 2:05 PM", "Mon, 1 Jul 2024 14:05", "1-Jul-24 14:05",
    "Mon, 01 Jul 2024 14:05:00 GMT", "Mon, 01 Jul 2024 14:05:00 -0500", "45474.586806", "45474,586806",
]  # fmt: skip
NO_DATE = ["", "soon", "2024", "2024-07", "Jul 2024", "1 Jul", "July", "14:05", "1", "24:00", "2024-02-30",
           "2023-02-29",
           "2024-13-01", "2024-07-01 25:00", "2024-07-01 14:60", "2024-07-01 14:05 later", "2024-07-01 x", "epoch",
           "now",
           "2024-07-01 or 02", "~2024-07-01", "2024-07-01?", "31 Apr 2024", "1. Juli 2024", "17999", "80000", "123456",
           "1824-07-01", "2024-07-01 8:00-10:00 AM", "infinity", "12.5", "100%"]  # fmt: skip


@pytest.mark.parametrize("order", ["iso", "mdy", "dmy"])
def test_the_same_day_and_minute_in_many_spellings(engine, order):
    read = f"read_datetime_{order}"
    assert dict(zip(DAY, read_all(engine, read, DAY), strict=True)) == dict.fromkeys(DAY, JULY_1)
    at = JULY_1.replace(hour=14, minute=5)
    assert dict(zip(MINUTE, read_all(engine, read, MINUTE), strict=True)) == dict.fromkeys(MINUTE, at)
    assert dict(zip(NO_DATE, read_all(engine, read, NO_DATE), strict=True)) == dict.fromkeys(NO_DATE)


MDY = ["7/1/2024", "07/01/2024", "7-1-2024", "7.1.2024", "7/1/24", "07.01.24", "Mon 07/01/2024", "Monday, 7/1/24",
       "7 / 1 / 2024", "07/01/2024 (Mon)", "'7/1/2024"]  # fmt: skip
CLOCKS = ["14:05", "14:05:00", "2:05 PM", "2:05pm", "02:05:00 PM", "2:05 p.m.", "2:05p", "14.05", "1405", "14h05"]


@pytest.mark.parametrize("between", [" ", "  ", ", ", " @ ", " at ", " - ", "T"])
def test_slashed_dates_with_every_time(engine, between):
    written = [f"7/1/2024{between}{clock}" for clock in CLOCKS]
    at = JULY_1.replace(hour=14, minute=5)
    assert dict(zip(written, read_all(engine, "read_datetime_mdy", written), strict=True)) == dict.fromkeys(written, at)


def test_slashed_dates_are_read_in_their_columns_order_only(engine):
    assert read_all(engine, "read_datetime_mdy", MDY) == [JULY_1] * len(MDY)
    assert read_all(engine, "read_datetime_dmy", MDY) == [dt.datetime(2024, 1, 7)] * len(MDY)
    assert read_all(engine, "read_datetime_iso", MDY) == [None] * len(MDY)
    never = [
        "13/13/2024",
        "2/30/2024",
        "0/1/2024",
        "7/1/204",
        "7/1/20245",
        "7/1",
        "7/1/2024 8-10",
        "7/1/2024 8:00-10:00",
    ]
    assert read_all(engine, "read_datetime_mdy", never) == [None] * len(never)


@pytest.mark.parametrize(
    ("written", "meant"),
    [
        # RFC 3339 (2002), 5.8, and RFC 5322 (2008), appendix A.1.1: their examples, from memory
        ("1985-04-12T23:20:50.52Z", dt.datetime(1985, 4, 12, 23, 20, 50, 520000)),
        ("1996-12-19T16:39:57-08:00", dt.datetime(1996, 12, 19, 16, 39, 57)),
        ("1937-01-01T12:00:27.87+00:20", dt.datetime(1937, 1, 1, 12, 0, 27, 870000)),
        ("Fri, 21 Nov 1997 09:55:06 -0600", dt.datetime(1997, 11, 21, 9, 55, 6)),
        # ECMA-376 part 1, 18.17.4.1 and 18.17.4.2: serial 1 is 1 January 1900, noon is half a day; in that system
        # 36526 is 1 January 2000 (36525 days after, and a 29 February 1900 that was none)
        ("36526", dt.datetime(2000, 1, 1)),
        ("36526.5", dt.datetime(2000, 1, 1, 12)),
        # ISO 8601-1:2019, 5.3.3 (and its 2022 amendment): 24:00:00 ends the day
        ("1985-04-12T24:00:00", dt.datetime(1985, 4, 13)),
    ],
)
def test_the_examples_of_standards(engine, written, meant):
    assert engine.value("select read_datetime_iso(?)", [written]) == meant


ENGLISH = ["January", "February", "March", "April", "May", "June", "July", "August", "September", "October",
           "November", "December"]  # fmt: skip
SPANISH = ["enero", "febrero", "marzo", "abril", "mayo", "junio", "julio", "agosto", "septiembre", "octubre",
           "noviembre", "diciembre"]  # fmt: skip


@pytest.mark.parametrize("month", range(1, 13))
def test_every_month_by_its_names(engine, month):
    names = ENGLISH[month - 1], SPANISH[month - 1]
    written = [f"9 {name} 2023" for full in names for name in (full, full[:3], f"{full[:3]}.", full.upper())]
    written += ["9 Sept 2023", "9 sept. 2023"] if month == 9 else []
    assert read_all(engine, "read_datetime_iso", written) == [dt.datetime(2023, month, 9)] * len(written)


@pytest.mark.parametrize(
    ("written", "clock"),
    [
        ("14:35", (14, 35)), ("2:35 PM", (14, 35)), ("2:35pm", (14, 35)), ("235p", (14, 35)), ("2:35 p.m.", (14, 35)),
        ("0815", (8, 15)), ("815", (8, 15)), ("8.15", (8, 15)), ("8:15a", (8, 15)), ("8a", (8, 0)), ("8 AM", (8, 0)),
        ("14h35", (14, 35)), ("14h", (14, 0)), ("1435 hrs", (14, 35)), ("noon", (12, 0)), ("12 noon", (12, 0)),
        ("midnight", (0, 0)), ("12:30 am", (0, 30)), ("12:30 pm", (12, 30)), ("12 AM", (0, 0)), ("0:00", (0, 0)),
        ("14:35 PM", (14, 35)), ("00.25", (0, 25)), ("24:00", (24, 0)), ("2400", (24, 0)), ("14:35:00", (14, 35)),
        # a spreadsheet's fraction of a day
        ("0.604166", (14, 30)), ("0,604166", (14, 30)), (".5", (12, 0)), ("0.25", (6, 0)), ("0.0", (0, 0)),
    ],
)  # fmt: skip
def test_read_clock(engine, written, clock):
    since = dt.timedelta(hours=clock[0], minutes=clock[1])
    assert engine.rows("select read_clock($1), clock_only($1)", [written]) == [(since, True)]


@pytest.mark.parametrize(
    "written",
    ["", "8", "8.5", "25:00", "24:01", "14:60", "14:35 AM", "0:30 pm", "13:00 am", "8-10", "2024-07-01", "7/1/2024",
     "2024-07-01 14:05", "45476", "45476.5", "1.5", "soon", "8:15 and 9:15", "1h30m", "noon-ish", "1 2", None],
)  # fmt: skip
def test_what_is_no_time_of_day_alone(engine, written):
    assert engine.rows("select read_clock($1), coalesce(clock_only($1), false)", [written]) == [(None, False)]


def test_seconds_and_their_fractions_are_kept(engine):
    assert engine.value("select read_clock('14:05:10.5')") == dt.timedelta(hours=14, minutes=5, seconds=10.5)
    assert engine.value("select read_datetime_mdy('7/1/24 14:05:10')") == dt.datetime(2024, 7, 1, 14, 5, 10)


def test_whether_a_time_of_day_is_written(engine):
    with_time = [*MINUTE, "2024-07-01 0:00", "45474.0", "45,474.5", "7/1/2024 2p", "7/1/2024 14.05", "July 1 2024 noon"]
    without = [
        "2024-07-01",
        "20240701",
        "7/1/2024",
        "1.7.2024",
        "July 1, 2024",
        "Mon 1 Jul 2024",
        "45474",
        "45,474",
        "",
        None,
    ]
    assert read_all(engine, "says_time", with_time) == [True] * len(with_time)
    assert read_all(engine, "says_time", without) == [False] * len(without)


@pytest.mark.parametrize(
    ("written", "zone"),
    [
        ("2024-07-01T10:00Z", "Z"), ("2024-07-01T10:00-05:00", "-05:00"), ("2024-07-01 10:00:00-05", "-05"),
        ("2024-07-01 10:00:00.5 +0530", "+0530"), ("7/1/2024 2:05 PM EST", "EST"), ("7/1/2024 14:05 cdt", "CDT"),
        ("Mon, 01 Jul 2024 14:05:00 GMT", "GMT"), ("Mon, 01 Jul 2024 14:05:00 -0500", "-0500"),
        ("2024-07-01 10:00 UTC+2", "UTC+2"),
        ("2024-07-01 10:00", None), ("2024-07-01", None), ("7/1/2024 8:00-10:00", None), ("7/1/2024 2:05 PM", None),
        ("45474.5", None), ("word", None), ("", None),
    ],
)  # fmt: skip
def test_a_zone_is_dropped_and_said(engine, written, zone):
    said = zone and f"offset_dropped: {zone}; the time is kept as the clock showed it"
    assert engine.value("select offset_note(?)", [written]) == said


def shapes(engine, written):
    return Shapes(*engine.rows(f"select {shapes_sql('cell')} from (select unnest(?) as cell)", [written])[0])


def test_weekdays_in_front_settle_the_order_like_any_other_date(engine):
    found = shapes(
        engine, ["Mon 07/01/2024", "Saturday, 7/13/24", "'07/02/2024", "7 / 3 / 2024 8:15", "2024-07-04", "45474", ""]
    )
    assert found == Shapes(slashed=4, day_first=0, month_first=1, differing=3)
    assert decide_order("a.csv", "reported_at", None, found).order == "mdy"
    assert shapes(engine, ["Sat. 13.7.2024"]) == Shapes(slashed=1, day_first=1, month_first=0, differing=0)


def test_what_is_no_date_in_any_order_speaks_for_none(engine):
    found = shapes(engine, ["13/13/2024", "45/10/2024", "7/99/2024", "7/13/2024"])
    assert found == Shapes(slashed=4, day_first=0, month_first=1, differing=0)
    assert decide_order("a.csv", "reported_at", None, found).order == "mdy"
    with pytest.raises(SourceError, match="can only be day/month"):
        decide_order("a.csv", "reported_at", None, shapes(engine, ["13/7/2024", "7/13/2024"]))

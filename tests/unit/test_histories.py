"""The worked example below is small enough to check by hand; every number expected of it was worked out on paper."""

import csv
import datetime as dt
import io

import pytest
from small_logs import histories_of

EQUIPMENT = """\
equipment_id,building,installed_on,herm_uf,fan_uf,start_uf_min
A1,1,2015-03-01,40,5,
A2,1,2021-03-01,40,5,
B1,2,,35,5,
B2,2,2018-05-01,35,5,
"""

# the log was kept from January 2021 to December 2022, but for July 2021
COVERAGE = """\
property,from_date,to_date
,2021-01-01,2021-06-30
,2021-08-01,2022-12-31
"""

# nobody lived behind B1 in September 2021
OCCUPANCY = """\
equipment_id,vacant_from,vacant_to
B1,2021-09-01,2021-09-30
"""

VISITS = """\
visit_id,equipment_id,reported_at,call_type,finding,outcome
V01,A1,2021-05-10,no cooling,run capacitor,cooling restored
V02,A1,2021-05-28,no cooling,run capacitor,cooling restored
V03,A1,2021-07-12,no cooling,contactor,cooling restored
V04,A2,2021-06-05,no cooling,no fault found,
V05,A2,2021-06-20,no cooling,contactor,cooling restored
V06,A2,2022-03-15,preventive maintenance,run capacitor,
V07,B1,2021-09-10,water leak,drain clog,
V08,B1,2022-07-01,no cooling,fan motor,cooling restored
V09,B1,2022-08-05,no cooling,fan motor,temporary
V10,B1,2022-09-04,no cooling,fan motor,cooling restored
V11,B2,2022-04-10,no cooling,compressor,unit replaced
V12,B2,2022-06-01,poor cooling,dirty coil,cooling restored
"""

PARTS = """\
visit_id,part_no,component,why
V01,C405,run capacitor,failed
V02,C405,run capacitor,failed
V03,K1,contactor,failed
V06,C405,run capacitor,weak
V08,M6,fan motor,
V12,C355,run capacitor,preventive
"""


def rows_of(text):
    return list(csv.DictReader(io.StringIO(text)))


@pytest.fixture(scope="module")
def example(tmp_path_factory):
    histories = histories_of(
        tmp_path_factory.mktemp("example"),
        equipment=rows_of(EQUIPMENT), coverage=rows_of(COVERAGE), occupancy=rows_of(OCCUPANCY),
        visits=rows_of(VISITS), parts_used=rows_of(PARTS),
    )  # fmt: skip
    yield histories
    histories.close()


def day(text):
    return dt.date.fromisoformat(text)


def test_example_unit_days(example):
    # covered: 181 days to 30 June 2021, then 153 to the end of 2021 and 365 in 2022: 699
    # A1 all of them; A2 from 1 March 2021: 122 + 518; B1 without 30 empty days: 669;
    # B2 to 10 April 2022: 181 + 153 + 100; its successor from 11 April: 365 - 100
    days = example.database.rows(
        "select equipment_id, origin, days from history.exposure join history.unit using (unit_id) order by unit_id"
    )
    assert days == [
        ("A1", "equipment", 699),
        ("A2", "equipment", 640),
        ("B1", "equipment", 669),
        ("B2", "equipment", 434),
        ("B2", "unit replaced", 265),
    ]
    assert example.unit_years() == pytest.approx((699 + 640 + 669 + 434 + 265) / 365.25)


def test_example_failures(example):
    chains = example.chains()
    found = [
        (row.equipment_id, row.component, row.failed_on.date(), row.last_day.date(), row.n_visits, row.counted)
        for row in chains.itertuples()
    ]
    assert sorted(found) == [
        # V01 and V02 lie 18 days apart: one failure
        ("A1", "contactor", day("2021-07-12"), day("2021-07-12"), 1, False),  # in the month without a log
        ("A1", "run capacitor", day("2021-05-10"), day("2021-05-28"), 2, True),
        # V04 found no fault 15 days before V05: the failure is dated at V04's report
        ("A2", "contactor", day("2021-06-05"), day("2021-06-20"), 2, True),
        ("B1", "drain clog", day("2021-09-10"), day("2021-09-10"), 1, False),  # while the home stood empty
        ("B1", "fan motor", day("2022-07-01"), day("2022-07-01"), 1, True),
        # 35 days after V08: a new one; V10 comes 30 days after V09 and belongs to it
        ("B1", "fan motor", day("2022-08-05"), day("2022-09-04"), 2, True),
        ("B2", "compressor", day("2022-04-10"), day("2022-04-10"), 1, True),
        ("B2", "dirty coil", day("2022-06-01"), day("2022-06-01"), 1, True),
    ]
    assert example.excluded == {"failures in time taken out (log gaps, vacancy)": 2}


def spells_of(histories, component, tag):
    return [
        (str(start), str(end), ended, known)
        for start, end, ended, known in histories.database.rows(
            "select start_on, end_on, ended, age_known from history.spell join history.unit using (unit_id) "
            "where component = ? and equipment_id = ? order by spell_id",
            [component, tag],
        )
    ]


def test_example_capacitor_lives_of_a1(example):
    assert spells_of(example, "run capacitor", "A1") == [
        ("2021-01-01", "2021-05-10", "failed", "bounded"),
        ("2021-05-10", "2021-05-28", "failed", "known"),  # a new part that failed inside the chain
        ("2021-05-28", "2021-07-01", "log gap", "known"),
        ("2021-08-01", "2023-01-01", "in service", "bounded"),
    ]


def test_example_ages(example):
    ages = example.database.rows(
        "select entry_age * 365.25, exit_age * 365.25, entry_age_at_most * 365.25 from history.spell "
        "join history.unit using (unit_id) where component = 'run capacitor' and equipment_id = 'A1' order by spell_id"
    )
    # 1 March 2015 to 1 January 2021: five years with the leap days of 2016 and 2020 (1827 to 1 March 2020), then 306
    assert ages[0] == (None, None, pytest.approx(1827 + 306))
    assert ages[1] == (pytest.approx(0), pytest.approx(18), None)
    assert ages[2] == (pytest.approx(0), pytest.approx(34), None)
    # after the gap it is at most as old as the part fitted on 28 May: 65 days
    assert ages[3] == (None, None, pytest.approx(65))


def test_example_other_lives(example):
    assert spells_of(example, "run capacitor", "A2") == [
        ("2021-03-01", "2021-07-01", "log gap", "known"),  # installed inside the log: its age is known
        ("2021-08-01", "2022-03-15", "weak", "bounded"),
        ("2022-03-15", "2023-01-01", "in service", "known"),
    ]
    assert spells_of(example, "fan motor", "B1") == [
        ("2021-01-01", "2021-07-01", "log gap", "unknown"),
        ("2021-08-01", "2022-07-01", "failed", "unknown"),
        ("2022-07-01", "2023-01-01", "in service", "known"),  # V09 and V10 were mended without a part
    ]
    assert spells_of(example, "compressor", "B2") == [
        ("2021-01-01", "2021-07-01", "log gap", "bounded"),
        ("2021-08-01", "2022-04-11", "failed", "bounded"),  # the unit went with its compressor
        ("2022-04-11", "2023-01-01", "in service", "known"),
    ]
    assert spells_of(example, "run capacitor", "B2") == [
        ("2021-01-01", "2021-07-01", "log gap", "bounded"),
        ("2021-08-01", "2022-04-11", "unit retired", "bounded"),
        ("2022-04-11", "2022-06-01", "preventive", "known"),
        ("2022-06-01", "2023-01-01", "in service", "known"),
    ]


def test_example_lives_add_up_to_the_time_at_risk(example):
    totals = example.database.rows(
        "select component, sum(days) from history.spell join history.spell_days using (spell_id) "
        "group by component order by component"
    )
    assert totals == [(name, 2707) for name in ("compressor", "contactor", "fan motor", "run capacitor")]


def test_example_notes(example):
    assert example.as_of == day("2022-12-31")
    assert example.window == (day("2021-01-01"), day("2022-12-31"))
    assert any(note.startswith("1 of 5 units have no installation date") for note in example.notes)
    assert not any("No coverage" in note or "hard-start" in note for note in example.notes)

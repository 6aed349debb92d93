"""Every rule by its name: the row it speaks of, and what becomes of it."""

import datetime as dt

import pytest
from small_logs import kept, unit, visit, write_log

from fleet.ingest.load import LoadOptions, load_log
from fleet.ingest.records import list_records
from fleet.ingest.report import records_frame
from fleet.store.snapshots import Store

LOADED_ON = dt.date(2025, 1, 1)


class Loaded:
    """A log typed in a test, loaded: its report and what became of its records."""

    def __init__(self, folder, *, as_of=None, **tables):
        tables.setdefault("equipment", [unit("U1")])
        tables.setdefault("visits", [visit("V1", "U1", "2024-06-01")])
        self.store = store = Store(folder / "store")
        self.report = load_log(
            write_log(folder / "log", **tables), store, loaded_on=LOADED_ON, options=LoadOptions(as_of=as_of)
        )
        self.database = store.open()
        self.quarantined = self._rows(records_frame(self.database, "quarantined"))
        self.duplicates = self._rows(records_frame(self.database, "duplicate"))
        self.blanks = self._rows(records_frame(self.database, "blank"))
        self.notices = [
            (table, record, said.split(":")[0])
            for table, record, said in self._rows(records_frame(self.database, "kept"))
        ]

    @staticmethod
    def _rows(frame):
        return [(row.table_name, row.record, row.reason) for row in frame.itertuples()]

    def ask(self, sql):
        return self.database.rows(sql)


def reading(key="V1", component="herm", value=38, stage="found", **cells):
    return {"visit_id": key, "component": component, "stage": stage, "value": value, **cells}


def sense_of(tmp_path, readings, *, finding="", parts=(), equipment=None):
    tables = {"parts_used": list(parts)} if parts else {}
    loaded = Loaded(
        tmp_path, equipment=equipment or [unit("U1")], readings=readings,
        visits=[visit("V1", "U1", "2024-06-01", finding=finding)], **tables,
    )  # fmt: skip
    return loaded, loaded.ask("select component, sense, value_uf from log.clean.reading order by component desc, stage")


@pytest.mark.parametrize(
    ("cells", "reason"),
    [
        ({"equipment_id": ""}, "equipment_id_missing"),
        ({"reported_at": ""}, "reported_at_missing"),
        ({"reported_at": "whenever"}, "reported_at_not_a_date"),
        ({"arrived_at": "late"}, "arrived_at_not_a_date"),
        ({"labor_minutes": "abc"}, "labor_minutes_not_a_number"),
        ({"labor_minutes": "-5"}, "labor_minutes_negative"),
        ({"labor_cost": "abc"}, "labor_cost_not_money"),
        ({"after_hours": "perhaps"}, "after_hours_not_yes_or_no"),
        ({"equipment_id": "X9"}, "unknown_unit"),
        ({"reported_at": "2025-01-02"}, "reported_in_future"),
    ],
)
def test_a_visit_that_cant_be_used_is_quarantined_by_name(tmp_path, cells, reason):
    bad = {**visit("V2", "U1", "2024-06-01", arrived_at="", labor_minutes="", labor_cost="", after_hours=""), **cells}
    loaded = Loaded(tmp_path, visits=[visit("V1", "U1", "2024-06-01"), bad])
    assert loaded.quarantined == [("visits", 3, reason)]
    assert loaded.report.n_quarantined == 1


def test_all_faults_of_a_row_are_named_at_once(tmp_path):
    bad = visit("V2", "U1", "never", labor_cost="abc", labor_minutes="-1")
    loaded = Loaded(tmp_path, visits=[visit("V1", "U1", "2024-06-01"), bad])
    assert loaded.quarantined == [("visits", 3, "reported_at_not_a_date; labor_minutes_negative; labor_cost_not_money")]


def test_future_is_after_the_as_of_day_where_one_is_given(tmp_path):
    loaded = Loaded(tmp_path, as_of=dt.date(2024, 5, 31))
    assert loaded.quarantined == [("visits", 2, "reported_in_future")]


@pytest.mark.parametrize(
    ("table", "row", "reason"),
    [
        ("equipment", unit("U2", installed_on="2020-01-02", retired_on="2020-01-01"), "retired_before_installed"),
        (
            "occupancy", {"equipment_id": "U1", "vacant_from": "2020-02-01", "vacant_to": "2020-01-01"},
            "vacant_to_before_vacant_from",
        ),
        ("occupancy", {"equipment_id": "X9", "vacant_from": "2020-02-01", "vacant_to": ""}, "unknown_unit"),
        ("coverage", kept("2020-02-01", "2020-01-01"), "to_date_before_from_date"),
        ("parts_used", {"visit_id": "V9", "component": "contactor"}, "visit_unknown"),
        ("readings", reading("V9"), "visit_unknown"),
        ("readings", reading(value=""), "value_missing"),
        ("readings", reading(unit="ohm"), "unit_unknown"),
        ("readings", reading(component="left leg"), "component_unknown_word"),
        ("readings", reading(stage="someday"), "stage_unknown_word"),
        ("catalogue", {"part_no": "P1", "component": "contactor", "unit_cost": "-3"}, "unit_cost_negative"),
        ("stock", {"location": "shop", "part_no": "", "on_hand": 3}, "part_no_missing"),
        ("weather", {"date": "2024-13-01", "high_f": 90, "low_f": 70}, "date_not_a_date"),
    ],
)  # fmt: skip
def test_rows_of_other_tables_are_quarantined_by_name(tmp_path, table, row, reason):
    rows = [unit("U1"), row] if table == "equipment" else [row]
    loaded = Loaded(tmp_path, **{table: rows})
    assert [(name, why) for name, _, why in loaded.quarantined] == [(table, reason)]


def test_readings_and_parts_go_where_their_visit_goes(tmp_path):
    loaded = Loaded(
        tmp_path, visits=[visit("V1", "U1", "2024-06-01"), visit("V2", "X9", "2024-06-01")],
        readings=[reading("V2")], parts_used=[{"visit_id": "V2", "component": "contactor"}],
    )  # fmt: skip
    assert sorted(loaded.quarantined) == [
        ("parts_used", 2, "visit_quarantined"), ("readings", 2, "visit_quarantined"), ("visits", 3, "unknown_unit"),
    ]  # fmt: skip


def test_blanks_are_named(tmp_path):
    log = write_log(tmp_path / "log", equipment=[unit("U1")])
    (log / "visits.csv").write_text(
        "visit_id,equipment_id,reported_at,labor_cost\nV1,U1,2024-06-01,5\n,,,\n\n"
        "visit_id,equipment_id,reported_at,labor_cost\n,,,\nTotal,,,5\n"
    )
    store = Store(tmp_path / "store")
    report = load_log(log, store, loaded_on=LOADED_ON)
    with store.open() as database:
        blanks = records_frame(database, "blank")
    assert list(zip(blanks.record, blanks.reason, strict=True)) == [
        (3, "empty row"), (4, "empty line"), (5, "repeated header"), (6, "empty row"), (7, "totals row"),
    ]  # fmt: skip
    assert (report.total("records"), report.total("clean"), report.total("blank")) == (7, 2, 5)


@pytest.mark.parametrize("written", ["u1", "U-1", "U 01", "U001"])
def test_a_tag_one_spelling_rule_away_is_understood_and_flagged(tmp_path, written):
    loaded = Loaded(tmp_path, visits=[visit("V1", written, "2024-06-01")])
    assert loaded.ask("select equipment_id from log.clean.visit") == [("U1",)]
    assert loaded.notices == [("visits", 2, "tag_spelling")]


def test_a_spelling_two_tags_share_is_not_guessed(tmp_path):
    loaded = Loaded(tmp_path, equipment=[unit("U1"), unit("u-1")], visits=[visit("V1", "U 1", "2024-06-01")])
    assert loaded.quarantined == [("visits", 2, "unknown_unit")]


def test_negative_money_is_a_credit_and_flagged(tmp_path):
    loaded = Loaded(
        tmp_path, visits=[visit("V1", "U1", "2024-06-01", labor_cost="(25.00)")],
        parts_used=[{"visit_id": "V1", "component": "contactor", "unit_cost": "-9"}],
    )  # fmt: skip
    assert sorted(loaded.notices) == [("parts_used", 2, "negative_money"), ("visits", 2, "negative_money")]


def test_times_out_of_order_are_kept_and_flagged(tmp_path):
    loaded = Loaded(tmp_path, visits=[visit("V1", "U1", "2024-06-02", arrived_at="2024-06-01")])
    assert loaded.notices == [("visits", 2, "times_out_of_order")]


@pytest.mark.parametrize(
    ("day", "flagged"), [("2020-02-29", True), ("2020-03-01", False), ("2021-05-31", False), ("2021-06-01", True)]
)
def test_a_visit_outside_every_service_period_is_kept_and_flagged(tmp_path, day, flagged):
    equipment = [unit("U1", installed_on="2020-03-01", retired_on="2021-05-31")]
    loaded = Loaded(tmp_path, equipment=equipment, visits=[visit("V1", "U1", day)])
    assert loaded.notices == ([("visits", 2, "outside_service")] if flagged else [])


def test_a_visit_between_two_units_of_a_tag_is_flagged(tmp_path):
    equipment = [unit("U1", retired_on="2021-05-31"), unit("U1", installed_on="2021-06-10")]
    visits = [visit(f"V{n}", "U1", f"2021-06-{n:02}") for n in (5, 10)]
    assert Loaded(tmp_path, equipment=equipment, visits=visits).notices == [("visits", 2, "outside_service")]


def test_a_component_outside_the_list_is_other_with_its_own_word(tmp_path):
    loaded = Loaded(tmp_path, visits=[visit("V1", "U1", "2024-06-01", finding="gremlins")])
    assert loaded.ask("select finding, finding_word from log.clean.visit") == [("other", "gremlins")]
    assert loaded.notices == [("visits", 2, "finding_unknown_word")]


def test_a_part_without_a_component_is_what_the_catalogue_says(tmp_path):
    loaded = Loaded(
        tmp_path, parts_used=[{"visit_id": "V1", "part_no": "K1", "component": ""}],
        catalogue=[{"part_no": "K1", "component": "contactor"}],
    )  # fmt: skip
    assert loaded.ask("select component from log.clean.part") == [("contactor",)]


@pytest.mark.parametrize(
    ("value", "written", "meant", "rule"),
    [
        (38, "", 38, None), (38, "MFD", 38, None), (38, "µF", 38, None), (38000, "nF", 38, None),
        (38_000_000, "pF", 38, None), (0.038, "mF", 38, None),
        (38, "mF", 38, "millifarad_slip"),  # 38 mF would be a thousand times what is rated
        (380, "", 38, "decimal_slip"),
    ],
)  # fmt: skip
def test_units_of_readings(tmp_path, value, written, meant, rule):
    # SI prefixes: milli 1e-3, micro 1e-6, nano 1e-9, pico 1e-12 (BIPM, The International System of Units, table 7)
    loaded, rows = sense_of(tmp_path, [reading(value=value, unit=written)])
    assert rows == [("herm", "ok", pytest.approx(meant))]
    assert [notice[2] for notice in loaded.notices] == ([rule] if rule else [])


def test_a_running_reading_is_worked_out_from_volts_and_amps(tmp_path):
    cells = {"value": "", "method": "running", "volts": 370, "amps": 5.0, "hertz": 60}
    # C = I / (2 pi f V): 5 / (2 pi 60 370) F = 35.85 uF
    _, rows = sense_of(tmp_path, [reading(**cells)])
    assert rows == [("herm", "ok", pytest.approx(35.85, abs=0.01))]


def test_swapped_leads_are_put_right_and_flagged(tmp_path):
    loaded, rows = sense_of(tmp_path, [reading(value=4.9), reading(component="fan", value=39)])
    assert rows == [("herm", "ok", 39), ("fan", "ok", 4.9)]
    assert {notice[2] for notice in loaded.notices} == {"sections_swapped"}


@pytest.mark.parametrize(
    ("readings", "finding", "parts", "sense"),
    [
        ([reading(value=0)], "", [], "not measured"),
        ([reading(value=0)], "run capacitor", [], "open"),
        ([reading(value=0)], "", [{"visit_id": "V1", "component": "run capacitor", "why": "failed"}], "open"),
        ([reading(value=0)], "", [{"visit_id": "V1", "component": "run capacitor", "why": "weak"}], "not measured"),
        ([reading(value=0), reading(component="fan", value=4.9)], "", [], "open"),
        ([reading(value=0), reading(component="fan", value=1)], "", [], "not measured"),  # the other isn't sane
        ([reading(value=0), reading(component="fan", value=0)], "", [], "not measured"),
        ([reading(value=0), reading(component="fan", value=0)], "run capacitor", [], "open"),
        ([reading(component="start", value=0)], "", [], "not measured"),
        ([reading(component="start", value=0)], "hard start", [], "open"),
        ([reading(component="start", value=0)], "run capacitor", [], "not measured"),
        ([reading(value=70)], "", [], "implausible"),
        ([reading(value=-3)], "", [], "implausible"),
    ],
)
def test_what_a_reading_means(tmp_path, readings, finding, parts, sense):
    _, rows = sense_of(tmp_path, readings, finding=finding, parts=parts)
    assert rows[0][1] == sense


def test_zeros_that_fill_a_whole_column_were_not_measured(tmp_path):
    visits = [visit(f"V{n}", "U1", f"2024-06-{n:02}", finding="run capacitor" if n == 6 else "") for n in range(1, 7)]
    readings = [row for n in range(1, 7) for row in (reading(f"V{n}", value=38), reading(f"V{n}", "fan", 0))]
    loaded = Loaded(tmp_path, visits=visits, readings=readings)
    rows = loaded.ask("select visit_id, sense from log.clean.reading where component = 'fan' order by visit_id")
    # the finding of V6 outranks it
    assert rows == [(f"V{n}", "open" if n == 6 else "not measured") for n in range(1, 7)]


@pytest.mark.parametrize(
    ("cells", "after_hours"),
    [
        ({"reported_at": "2024-06-03 10:00"}, False),  # a Monday
        ({"reported_at": "2024-06-03 17:00"}, True),
        ({"reported_at": "2024-06-03 07:59"}, True),
        ({"reported_at": "2024-06-01 10:00"}, True),  # a Saturday
        ({"reported_at": "2024-06-01"}, True),
        ({"reported_at": "2024-06-03"}, None),
        ({"reported_at": "2024-06-03 10:00", "arrived_at": "2024-06-03 19:00"}, True),
        ({"reported_at": "2024-06-03 10:00", "after_hours": "yes"}, True),
    ],
)
def test_after_hours_is_worked_out_where_it_isnt_recorded(tmp_path, cells, after_hours):
    loaded = Loaded(tmp_path, visits=[{**visit("V1", "U1", ""), **cells}])
    assert loaded.ask("select after_hours from log.clean.visit") == [(after_hours,)]


def test_usual_working_hours_are_said_where_they_are_taken(tmp_path):
    said = "working hours of Oak Row aren't given: mon-fri 8:00-17:00 is taken to tell night calls"
    assert said in Loaded(tmp_path / "a").report.remarks
    recorded = [visit("V1", "U1", "2024-06-01", after_hours="no")]
    assert said not in Loaded(tmp_path / "b", visits=recorded).report.remarks


@pytest.mark.parametrize(
    ("table", "row"),
    [
        ("coverage", kept("2024-01-01", "2024-12-31", "Elm")),
        ("weather", {"property": "Elm", "date": "2024-06-01", "high_f": 90, "low_f": 70}),
        ("stock", {"property": "Elm", "location": "shop", "part_no": "A", "on_hand": 1}),
    ],
)
def test_a_row_of_a_property_without_units_is_flagged(tmp_path, table, row):
    assert Loaded(tmp_path, **{table: [row]}).notices == [(table, 2, "property_unknown")]


def test_a_propertys_own_hours_hold(tmp_path):
    hours = [{"property": "Oak Row", "hours_from": "6:00", "hours_to": "14:30", "workdays": "sat-mon"}]
    visits = [
        visit("V1", "U1", "2024-06-01 06:00"), visit("V2", "U1", "2024-06-03 14:30"),
        visit("V3", "U1", "2024-06-04 10:00"),
    ]  # fmt: skip
    loaded = Loaded(tmp_path, visits=visits, properties=hours)
    assert loaded.ask("select after_hours from log.clean.visit order by visit_id") == [(False,), (True,), (True,)]


def test_the_text_of_a_refused_record_is_kept(tmp_path):
    loaded = Loaded(
        tmp_path, visits=[visit("V1", "U1", "2024-06-01"), visit("V2", "U1", "2024-06-01", labor_cost="abc")]
    )
    text = list_records(loaded.store, "quarantined").text[0]
    assert '"labor_cost":"abc"' in text
    assert '"visit_id":"V2"' in text

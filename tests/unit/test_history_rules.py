"""Every sentence of the contract about units in service, time at risk, failures and lives, one at a time."""

import datetime as dt

import pytest
from small_logs import histories_of, kept, unit, visit, write_log

from fleet.errors import AnalysisError
from fleet.histories.build import build_histories
from fleet.ingest.load import load_log
from fleet.store.snapshots import Store


def spells_of(histories, component, tag):
    return [
        (str(start), str(end), ended, known)
        for start, end, ended, known in histories.database.rows(
            "select start_on, end_on, ended, age_known from history.spell join history.unit using (unit_id) "
            "where component = ? and equipment_id = ? order by spell_id",
            [component, tag],
        )
    ]


def chains_of(folder, visits, parts=(), **tables):
    histories = log_of(folder, visits, parts, **tables)
    rows = histories.database.rows(
        "select component, failed_on::varchar, n_visits, counted from history.chain order by chain_id"
    )
    histories.close()
    return rows


def log_of(folder, visits, parts=(), *, as_of=None, **tables):
    tables.setdefault("equipment", [unit("U1", installed_on="2015-03-01")])
    tables.setdefault("coverage", [kept("2020-01-01", "2023-12-31")])
    if parts:
        tables["parts_used"] = list(parts)
    return histories_of(folder, as_of=as_of, visits=list(visits), **tables)


def store_of(folder, **tables):
    store = Store(folder / "store")
    load_log(write_log(folder / "log", **tables), store, loaded_on=dt.date(2030, 1, 1))
    return store


def call(key, day, finding="run capacitor", **cells):
    return visit(key, cells.pop("tag", "U1"), day, finding=finding, **cells)


def part(key, why="failed", component="run capacitor", **cells):
    return {"visit_id": key, "part_no": "P1", "component": component, "why": why, **cells}


@pytest.mark.parametrize(
    ("finding", "call_type", "why", "meaning"),
    [
        ("run capacitor", "no cooling", "failed", "failed"),
        ("run capacitor", "no cooling", "", "failed"),  # the finding says it
        ("run capacitor", "no cooling", "unknown", "failed"),
        ("contactor", "no cooling", "", "unknown"),  # fitted for no known reason
        ("run capacitor", "no cooling", "weak", "weak"),  # the reason wins over the finding
        ("run capacitor", "no cooling", "preventive", "preventive"),
        ("run capacitor", "no cooling", "upgrade", "upgrade"),
        ("run capacitor", "preventive maintenance", "failed", "failed"),
        ("run capacitor", "preventive maintenance", "", "unknown"),  # a finding on the spring round is no failure
        ("no fault found", "no cooling", "failed", "failed"),
    ],
)
def test_what_a_fitted_part_means(tmp_path, finding, call_type, why, meaning):
    histories = log_of(tmp_path, [call("V1", "2021-06-01", finding, call_type=call_type)], [part("V1", why)])
    found = histories.database.rows("select meaning from history.event where component = 'run capacitor'")
    assert found == [(meaning,)]
    failures = histories.database.value("select count(*) from history.chain where component = 'run capacitor'")
    assert failures == (1 if meaning == "failed" else 0)


def test_a_finding_without_a_part_is_a_failure_that_ends_no_life(tmp_path):
    histories = log_of(tmp_path, [call("V1", "2021-06-01", "contactor")], [part("V1", "upgrade")])
    assert [c.component for c in histories.chains().itertuples()] == ["contactor"]
    assert [row[2] for row in spells_of(histories, "contactor", "U1")] == ["in service"]


def test_a_finding_on_the_spring_round_is_no_failure(tmp_path):
    assert chains_of(tmp_path, [call("V1", "2021-04-01", call_type="preventive maintenance")]) == []


def test_of_several_reasons_the_first_of_failed_weak_preventive_upgrade_holds(tmp_path):
    visits = [call(f"V{n}", f"202{n}-06-01", "other") for n in range(3)]
    parts = [
        part("V0", "upgrade"), part("V0", "failed"), part("V0", "weak"),
        part("V1", "preventive"), part("V1", "weak"),
        part("V2", "upgrade"), part("V2", "preventive"),
    ]  # fmt: skip
    histories = log_of(tmp_path, visits, parts)
    found = "select visit_id, meaning, pieces from history.event where part_fitted order by visit_id"
    assert histories.database.rows(found) == [("V0", "failed", 3), ("V1", "weak", 2), ("V2", "preventive", 2)]


def test_a_part_fitted_for_no_known_reason_is_a_censoring_and_is_counted(tmp_path):
    histories = log_of(tmp_path, [call("V1", "2021-06-01", "contactor")], [part("V1", "")])
    assert [row[2] for row in spells_of(histories, "run capacitor", "U1")] == ["unknown", "in service"]
    assert histories.excluded == {"parts fitted for no known reason, taken as censored": 1}


@pytest.mark.parametrize(("days", "failures"), [(30, 1), (31, 2)])
def test_a_further_visit_within_30_days_belongs_to_the_chain(tmp_path, days, failures):
    second = dt.date(2021, 6, 1) + dt.timedelta(days=days)
    # late on the first day, early on the last: calendar days count, not hours
    assert len(chains_of(tmp_path, [call("V1", "2021-06-01 23:50"), call("V2", f"{second} 23:55")])) == failures


def test_days_are_counted_from_the_visit_before_it_in_the_chain(tmp_path):
    days = ("2021-06-01", "2021-06-26", "2021-07-21")  # 25 days each, 50 in all
    visits = [call(f"V{n}", day) for n, day in enumerate(days)]
    assert chains_of(tmp_path, visits) == [("run capacitor", "2021-06-01", 3, True)]


def test_the_chain_length_is_an_option(tmp_path):
    visits = [call("V1", "2021-06-01"), call("V2", "2021-06-11")]
    store = store_of(tmp_path, equipment=[unit("U1")], visits=visits)
    with_nine, with_ten = build_histories(store, chain_days=9), build_histories(store, chain_days=10)
    assert (len(with_nine.chains()), len(with_ten.chains())) == (2, 1)


def test_a_spring_round_never_belongs_to_a_chain(tmp_path):
    visits = [call("V1", "2021-04-01"), call("V2", "2021-04-11", call_type="preventive maintenance")]
    assert [row[2] for row in chains_of(tmp_path, visits, [part("V2", "failed")])] == [1, 1]


def test_another_component_is_another_failure(tmp_path):
    found = chains_of(tmp_path, [call("V1", "2021-06-01"), call("V2", "2021-06-05", "contactor")])
    assert [row[0] for row in found] == ["run capacitor", "contactor"]


def test_one_visit_can_be_two_failures(tmp_path):
    found = chains_of(tmp_path, [call("V1", "2021-06-01", "contactor")], [part("V1", "failed")])
    assert found == [("contactor", "2021-06-01", 1, True), ("run capacitor", "2021-06-01", 1, True)]


def test_a_weak_part_inside_the_chain_keeps_it_going_but_dates_nothing(tmp_path):
    visits = [call("V1", "2021-06-01"), call("V2", "2021-06-21"), call("V3", "2021-07-11"), call("V4", "2021-07-31")]
    parts = [part("V1", "weak"), part("V2", "failed"), part("V3", "weak"), part("V4", "failed")]
    # V1 was no failure; V4 lies 40 days after V2 but 20 after V3
    assert chains_of(tmp_path, visits, parts) == [("run capacitor", "2021-06-21", 4, True)]


def test_visits_after_no_fault_found_belong_to_its_chain(tmp_path):
    visits = [
        call("V1", "2021-06-01", "no fault found"), call("V2", "2021-06-20", "no fault found"),
        call("V3", "2021-07-15", "contactor"),
    ]  # fmt: skip
    assert chains_of(tmp_path, visits) == [("contactor", "2021-06-01", 3, True)]


def test_no_fault_found_alone_is_no_failure(tmp_path):
    histories = log_of(tmp_path, [call("V1", "2021-06-01", "no fault found"), call("V2", "2021-07-02")])
    assert [str(c.failed_on.date()) for c in histories.chains().itertuples()] == ["2021-07-02"]
    rows = histories.database.rows("select started_on::varchar, n_visits from history.open_no_fault_chain")
    assert rows == [("2021-06-01", 1)]


def test_unknown_installation_counts_from_the_windows_first_day_at_unknown_age(tmp_path):
    histories = log_of(tmp_path, [call("V1", "2021-06-01")], [part("V1")], equipment=[unit("U1")])
    assert histories.unit_years() == pytest.approx((366 + 365 + 365 + 365) / 365.25)
    assert spells_of(histories, "run capacitor", "U1")[0][3] == "unknown"
    assert any("no installation date" in note for note in histories.notes)


def test_without_coverage_the_first_and_last_reports_count_and_it_is_said(tmp_path):
    visits = [call("V1", "2021-06-01 10:00"), call("V2", "2021-06-10 09:00", "contactor")]
    histories = histories_of(tmp_path, equipment=[unit("U1")], visits=visits)
    assert histories.database.rows("select days from history.exposure") == [(10,)]
    assert histories.window == (dt.date(2021, 6, 1), dt.date(2021, 6, 10))
    assert "No coverage is given of Oak Row: the log counts from its first report (2021-06-01)" in histories.notes[0]


def test_each_property_has_its_own_window(tmp_path):
    equipment = [unit("U1"), unit("U2", property="Elm")]
    visits = [
        call("V1", "2021-06-01"), call("V2", "2021-06-30"),
        call("V3", "2021-06-11", tag="U2"), call("V4", "2021-06-20", tag="U2"),
    ]  # fmt: skip
    histories = histories_of(tmp_path, equipment=equipment, visits=visits)
    assert histories.database.rows("select days from history.exposure order by unit_id") == [(30,), (10,)]


def test_overlapping_coverage_and_vacancy_count_once(tmp_path):
    histories = log_of(
        tmp_path, [call("V1", "2020-06-01")],
        coverage=[kept("2020-01-01", "2020-01-20"), kept("2020-01-11", "2020-01-31"), kept("2020-02-01", "2020-02-10")],
        occupancy=[
            {"equipment_id": "U1", "vacant_from": "2020-01-05", "vacant_to": "2020-01-08"},
            {"equipment_id": "U1", "vacant_from": "2020-01-08", "vacant_to": "2020-01-10"},
            {"equipment_id": "U1", "vacant_from": "2020-02-09", "vacant_to": ""},
        ],
    )  # fmt: skip
    # 41 days kept; empty 5 to 10 January (6 days) and from 9 February on (2 days)
    assert histories.database.rows("select days from history.exposure") == [(33,)]


def test_a_recurring_tag_is_two_units_and_a_visit_belongs_to_the_one_in_service(tmp_path):
    equipment = [unit("U1", installed_on="2015-03-01", retired_on="2021-06-09"), unit("U1", installed_on="2021-06-15")]
    visits = [call(f"V{n}", f"2021-06-{n:02}") for n in (9, 12, 15)]
    histories = log_of(tmp_path, visits, equipment=equipment)
    assert histories.database.rows("select visit_id, unit_id from history.visit order by day") == [
        ("V9", 1), ("V12", None), ("V15", 2),
    ]  # fmt: skip
    assert histories.excluded["visits outside every service period of their tag"] == 1
    # 2020, then 31 + 28 + 31 + 30 + 31 + 9 days; and from 15 June to the end of 2023
    assert histories.database.rows("select days from history.exposure order by unit_id") == [(366 + 160,), (200 + 730,)]


def test_a_recurring_tag_without_retirement_ends_the_day_before_the_next(tmp_path):
    equipment = [unit("U1", installed_on="2015-03-01"), unit("U1", installed_on="2021-06-15")]
    histories = log_of(tmp_path, [call("V1", "2021-06-14"), call("V2", "2021-06-15")], equipment=equipment)
    assert histories.database.rows("select visit_id, unit_id from history.visit order by day") == [("V1", 1), ("V2", 2)]
    assert histories.unit_years() == pytest.approx(1461 / 365.25)


def replaced(tmp_path, equipment, day="2021-06-10"):
    histories = log_of(tmp_path, [call("V1", day, "compressor", outcome="unit replaced")], equipment=equipment)
    return histories, histories.database.rows(
        "select origin, compressor_type, service_from::varchar, service_to::varchar from history.unit order by unit_id"
    )


def test_unit_replaced_retires_it_and_begins_an_unknown_unit_the_next_day(tmp_path):
    histories, units = replaced(tmp_path, [unit("U1", installed_on="2015-03-01")])
    assert units == [
        ("equipment", "scroll", "2015-03-01", "2021-06-10"),
        ("unit replaced", "unknown", "2021-06-11", None),
    ]
    assert histories.unit_years() == pytest.approx(1461 / 365.25)
    assert spells_of(histories, "compressor", "U1")[0][2] == "failed"


def test_unit_replaced_with_an_equipment_row_takes_its_attributes(tmp_path):
    equipment = [unit("U1", installed_on="2015-03-01"), unit("U1", installed_on="2021-06-20", compressor_type="rotary")]
    _, units = replaced(tmp_path, equipment)
    assert units == [
        ("equipment", "scroll", "2015-03-01", "2021-06-10"),
        ("equipment", "rotary", "2021-06-20", None),
    ]


def test_unit_replaced_on_the_day_the_next_was_installed_speaks_of_the_old_one(tmp_path):
    equipment = [unit("U1", installed_on="2015-03-01"), unit("U1", installed_on="2021-06-10", compressor_type="rotary")]
    histories, units = replaced(tmp_path, equipment)
    assert [row[2:] for row in units] == [("2015-03-01", "2021-06-10"), ("2021-06-10", None)]
    assert histories.database.rows("select unit_id from history.visit") == [(1,)]


def test_unit_replaced_on_a_unit_with_a_retirement_day_changes_nothing(tmp_path):
    _, units = replaced(tmp_path, [unit("U1", installed_on="2015-03-01", retired_on="2021-06-12")])
    assert units == [("equipment", "scroll", "2015-03-01", "2021-06-12")]


def test_a_unit_listed_by_its_retirement_still_ends_its_compressor_as_failed(tmp_path):
    histories, _ = replaced(tmp_path, [unit("U1", installed_on="2015-03-01", retired_on="2021-06-12")])
    assert [row[2] for row in spells_of(histories, "compressor", "U1")] == ["failed"]


def test_hard_start_counts_only_from_the_day_a_kit_is_known(tmp_path):
    equipment = [
        unit("U1", start_uf_min=88, start_uf_max=108),  # rated on the equipment
        unit("U2"), unit("U3"),
    ]  # fmt: skip
    visits = [call("V1", "2023-12-22", "compressor", tag="U2")]
    histories = log_of(tmp_path, visits, [part("V1", "upgrade", "hard start")], equipment=equipment)
    days = histories.database.rows("select unit_id, days from history.kit_exposure order by unit_id")
    assert days == [(1, 1461), (2, 10)]  # 22 to 31 December, both days; U3 has none
    assert spells_of(histories, "hard start", "U2") == [("2023-12-22", "2024-01-01", "in service", "known")]


def test_where_kits_are_not_recorded_every_unit_counts_and_it_is_said(tmp_path):
    histories = log_of(tmp_path, [call("V1", "2021-06-01", "hard start")])
    assert histories.database.rows("select days from history.kit_exposure") == [(1461,)]
    assert any("hard-start kit isn't recorded" in note for note in histories.notes)


def test_two_parts_on_one_day_are_two_lives(tmp_path):
    visits = [call("V1", "2021-06-01 09:00"), call("V2", "2021-06-01 18:00")]
    histories = log_of(tmp_path, visits, [part("V1", "failed"), part("V2", "weak")])
    assert [row[2] for row in spells_of(histories, "run capacitor", "U1")] == ["failed", "weak", "in service"]
    lived = histories.database.value("select exit_age * 365.25 from history.spell where ended = 'weak'")
    assert lived == pytest.approx(0.5)


def test_an_earlier_as_of_knows_only_what_was_recorded_by_then(tmp_path):
    visits = [
        call("V1", "2021-06-01", recorded_at="2021-06-02"),
        call("V2", "2021-07-20", "contactor", recorded_at="2021-08-05"),  # written down later
        call("V3", "2021-08-15", "fan motor"),
    ]  # fmt: skip
    histories = log_of(tmp_path, visits, [part("V1"), part("V3", component="fan motor")], as_of=dt.date(2021, 7, 31))
    assert [c.component for c in histories.chains().itertuples()] == ["run capacitor"]
    # 2020, and 2021 to 31 July: 212 days
    assert histories.database.rows("select days from history.exposure") == [(366 + 212,)]
    assert spells_of(histories, "run capacitor", "U1")[-1] == ("2021-06-01", "2021-08-01", "in service", "known")


def test_on_the_logs_last_day_late_records_count(tmp_path):
    late = [call("V1", "2021-06-01", recorded_at="2021-06-15")]
    histories = log_of(tmp_path, late, coverage=[kept("2021-01-01", "2021-06-10")])
    assert len(histories.chains()) == 1


def test_what_comes_after_as_of_is_not_known(tmp_path):
    equipment = [unit("U1", installed_on="2015-03-01", retired_on="2022-05-01"), unit("U2", installed_on="2022-01-01")]
    histories = log_of(tmp_path, [call("V1", "2021-06-01")], equipment=equipment, as_of=dt.date(2021, 12, 31))
    rows = histories.database.rows("select equipment_id, retired_on, service_to from history.unit")
    assert rows == [("U1", None, None)]


def test_a_part_changed_while_the_log_was_not_kept_still_bounds_the_age(tmp_path):
    histories = log_of(
        tmp_path, [call("V1", "2020-07-01")], [part("V1")], equipment=[unit("U1")],
        coverage=[kept("2020-01-01", "2020-05-31"), kept("2020-08-01", "2020-12-31")],
    )  # fmt: skip
    last = histories.database.rows(
        "select age_known, entry_age_at_most * 365.25 from history.spell where component = 'run capacitor' "
        "and start_on = '2020-08-01'"
    )
    assert last == [("bounded", pytest.approx(31))]


def test_equipment_built_from_visits_is_said(tmp_path):
    histories = histories_of(tmp_path, visits=[call("V1", "2021-06-01")])
    assert any("Units were built from visits" in note for note in histories.notes)


@pytest.mark.parametrize("days", [0, 366])
def test_chain_days_out_of_range_are_refused(tmp_path, days):
    store = store_of(tmp_path, visits=[call("V1", "2021-06-01")])
    with pytest.raises(AnalysisError, match=rf"chain_days = {days} must lie between 1 and 365"):
        build_histories(store, chain_days=days)


def test_an_as_of_before_the_log_is_refused(tmp_path):
    with pytest.raises(AnalysisError, match=r"as-of 2019-12-31 lies before the log begins \(2020-01-01\)"):
        log_of(tmp_path, [call("V1", "2021-06-01")], as_of=dt.date(2019, 12, 31))


def test_heat_is_the_sum_of_degree_days_before_the_day(tmp_path):
    weather = [
        {"property": "Oak Row", "date": f"2021-06-{n:02}", "high_f": high, "low_f": 65}
        for n, high in ((1, 85), (2, 75), (4, 55))
    ]
    histories = log_of(tmp_path, [call("V1", "2021-06-01")], weather=weather)
    # (85 + 65) / 2 - 65 = 10, then 5, a missing day adds nothing, a cool day neither
    assert histories.database.rows("select heat from history.heat order by date") == [(0,), (10,), (15,), (15,), (15,)]


def test_every_history_file_runs_on_a_log_of_one_visit(tmp_path):
    histories = histories_of(tmp_path, visits=[{"visit_id": "V1", "equipment_id": "U1", "reported_at": "2024-07-01"}])
    assert histories.unit_years() == pytest.approx(1 / 365.25)
    assert (len(histories.chains()), len(histories.spells())) == (0, 0)

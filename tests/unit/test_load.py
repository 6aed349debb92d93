"""Loading as a whole: the account, one snapshot or none, the same answer from CSV and SQLite."""

import csv
import datetime as dt
import gzip
import subprocess
import sys
from pathlib import Path

import pytest
from small_logs import unit, visit, write_log

from fleet.errors import SourceError, StoreError
from fleet.ingest import filling, load, raw
from fleet.ingest.load import LoadOptions, load_log, rebuild
from fleet.ingest.report import records_frame
from fleet.store.schema import TABLES
from fleet.store.snapshots import Store

DEMO = Path(__file__).parents[2] / "data_demo"
LOADED_ON = dt.date(2026, 3, 1)
GOOD = "visit_id,equipment_id,reported_at,notes\n"


def loaded(folder, content, name="visits.csv", **options):
    log = folder / "log"
    log.mkdir(parents=True, exist_ok=True)
    (log / name).write_bytes(content if isinstance(content, bytes) else content.encode())
    store = Store(folder / "store")
    return load_log(log, store, loaded_on=LOADED_ON, options=LoadOptions(**options)), store


def visits_of(store):
    with store.open() as database:
        return database.rows("select visit_id, equipment_id, notes from log.clean.visit order by place")


def contents(store):
    """Return every clean table, its rows sorted."""
    with store.open() as database:
        return {
            name: database.rows(
                f"select * {'exclude (source_id, place)' if name == 'visit' else ''} from log.clean.{name} order by all"
            )
            for name in (table.clean_name for table in TABLES.values())
        }


# the account


@pytest.mark.parametrize(
    ("content", "counts"),
    [
        (GOOD + "V1,U1,2024-06-01,\nV2,U1,2024-06-02,\n", (2, 2, 0, 0, 0)),
        (GOOD + 'V1,U1,2024-06-01,"a\nb, ""c"""\nV2,U1,2024-06-02,\n', (2, 2, 0, 0, 0)),
        (GOOD + "V1,U1,2024-06-01,\nV1,U1,2024-06-01,\nV2,U1,soon,\n\n,,,\n", (5, 1, 1, 1, 2)),
        (GOOD + 'V1,U1,2024-06-01,\nV2,U1,2024-06-02,"open\nV3,U1,2024-06-03,\nV4,U1,2024-06-04,x\n', (4, 3, 1, 0, 0)),
        (GOOD.replace("\n", "\r\n") + "V1,U1,2024-06-01,\nV2,U1,2024-06-02,\r\n", (2, 2, 0, 0, 0)),
        ("\ufeff" + GOOD + "V1,U1,2024-06-01,é\n", (1, 1, 0, 0, 0)),
        (GOOD.encode() + "V1,U1,2024-06-01,45 µF\n".encode("cp1252"), (1, 1, 0, 0, 0)),
        ((GOOD + "V1,U1,2024-06-01,45 µF\n").encode("utf-16"), (1, 1, 0, 0, 0)),
        (GOOD.replace(",", ";") + "V1;U1;2024-06-01;a, b\n", (1, 1, 0, 0, 0)),
        (GOOD.replace(",", "\t") + "V1\tU1\t2024-06-01\ta; b\n", (1, 1, 0, 0, 0)),
        (GOOD + "V1,U1,2024-06-01\nV2,U1,2024-06-02,,9\nV3,U1,2024-06-03,,\n", (3, 1, 2, 0, 0)),
        (GOOD, (0, 0, 0, 0, 0)),
        ("unit,date,labor_cost,minutes\nU1,2024-06-01, ,\"\"\nU2,2024-06-02,  ,  \n", (2, 2, 0, 0, 0)),
    ],
)  # fmt: skip
def test_every_record_is_in_exactly_one_class(tmp_path, content, counts):
    report, _ = loaded(tmp_path, content)
    account = report.accounts[0]
    assert (account.records, account.clean, account.quarantined, account.duplicate, account.blank) == counts
    assert account.balanced


def test_an_open_quote_in_the_middle_of_a_file_costs_one_record(tmp_path):
    rows = [f"V{i},U1,2024-06-01,{'' if i % 3 else 'fine'}\n" for i in range(2000)]
    rows[1000] = "V1000,U1,2024-06-01,\"won't start\n"
    report, store = loaded(tmp_path, GOOD + "".join(rows))
    with store.open() as database:
        lost = records_frame(database, "quarantined")
    assert (report.accounts[0].clean, list(lost.record), list(lost.reason)) == (1999, [1002], ["quote_not_closed"])
    assert lost.text[0] == rows[1000].rstrip()


@pytest.mark.parametrize("large", [False, True])
def test_a_bad_byte_far_into_a_file_costs_nothing(tmp_path, monkeypatch, large):
    if large:
        monkeypatch.setattr(raw, "LARGE", 1000)
    good = "".join(f"V{i},U1,2024-06-01,µF\n" for i in range(20_000))
    report, store = loaded(tmp_path, (GOOD + good).encode() + b"W1,U1,2024-06-01,\xb5F\n")
    assert report.accounts[0].clean == 20_001
    assert {row[2] for row in visits_of(store)} == {"µF"}


def test_record_numbers_count_quoted_lines_once(tmp_path):
    _, store = loaded(tmp_path, GOOD + 'V1,U1,2024-06-01,"a\nb\nc"\nV2,U1,never,\n')
    with store.open() as database:
        assert list(records_frame(database, "quarantined").record) == [3]


def test_the_order_of_a_large_file_is_kept(tmp_path, monkeypatch):
    monkeypatch.setattr(raw, "LARGE", 1000)
    rows = [f"V{i},U1,{'never' if i == 70_000 else '2024-06-01'},{'x' * 40}\n" for i in range(100_000)]
    _, store = loaded(tmp_path, GOOD + "".join(rows))
    with store.open() as database:
        assert list(records_frame(database, "quarantined").record) == [70_002]


def test_gzip_is_read(tmp_path):
    _, store = loaded(tmp_path, gzip.compress((GOOD + "V1,U1,2024-06-01,x\n").encode()), "visits.csv.gz")
    assert visits_of(store) == [("V1", "U1", "x")]
    assert rebuild(store).total("clean") == 1


def test_columns_not_understood_and_files_passed_over_are_said(tmp_path):
    (tmp_path / "log").mkdir()
    (tmp_path / "log" / "read me.pdf").write_bytes(b"%PDF")
    report, _ = loaded(tmp_path, "unit,date,shoe size\nU1,2024-06-01,9\n")
    assert "visits.csv: the column 'shoe size' isn't understood; it stays in the kept source" in report.remarks
    assert "passed over in log: read me.pdf (no table of a log)" in report.remarks


def test_equipment_is_built_from_visits_where_none_came(tmp_path):
    report, store = loaded(tmp_path, GOOD + "V1,U2,2024-06-01,\nV2,U1,2024-06-01,\nV3,U1,2024-06-02,\n")
    assert contents(store)["equipment"][0][1] == "U1"
    assert len(contents(store)["equipment"]) == 2
    assert "no equipment table came: units never visited are missing, so rates read high" in report.remarks
    assert ("equipment", "built from visits", 2) in report.notices


@pytest.mark.parametrize(
    ("first", "is_sum"),
    [
        ("Total", True), ("Grand total", True), ("Sub-total:", True), ("June 2024 total", True), ("SUM", True),
        ("Average:", True), ("avg", True), ("Total June", True),
        ("Totally odd", False), ("Sum of all fears", False), ("the unit was a write-off in total", False),
    ],
)  # fmt: skip
def test_rows_of_sums_are_no_records(tmp_path, first, is_sum):
    report, _ = loaded(tmp_path, f"notes,unit,date,labor_cost\nx,U1,2024-06-01,5\n,{first},,5\n{first},,,5\n")
    assert (report.total("clean"), report.total("blank"), report.n_quarantined) == (1, 2 * is_sum, 2 * (not is_sum))


# the same whatever the way


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    store = Store(tmp_path_factory.mktemp("demo") / "store")
    return load_log(DEMO, store, loaded_on=LOADED_ON), store


def test_the_demo_adds_up(demo):
    report, _ = demo
    assert all(account.balanced for account in report.accounts)
    # equipment.csv is read by Python's own reader too: its records, the header not counted
    with (DEMO / "equipment.csv").open(newline="", encoding="utf-8") as stream:
        assert report.accounts[0].records == sum(1 for _ in csv.reader(stream)) - 1


def test_sqlite_and_csv_give_the_same_clean_tables(demo, tmp_path):
    _, store = demo
    file = tmp_path / "log.sqlite"
    subprocess.run([sys.executable, DEMO / "make_demo.py", "--sqlite", file], check=True, capture_output=True)
    other = Store(tmp_path / "store")
    load_log(file, other, loaded_on=LOADED_ON)
    ours, theirs = contents(store), contents(other)
    for name in ours:
        assert theirs[name] == ours[name], name


def test_loading_twice_changes_nothing(demo):
    report, store = demo
    before = (store.path / "manifest.json").read_bytes()
    again = load_log(DEMO, store, loaded_on=dt.date(2027, 1, 1))
    assert not again.loaded
    assert again.data_version == report.data_version == store.data_version()
    assert (store.path / "manifest.json").read_bytes() == before
    assert again.accounts == report.accounts


def test_rebuild_gives_the_same_tables(demo):
    report, store = demo
    before = contents(store)
    again = rebuild(store)
    assert contents(store) == before
    assert again.accounts == report.accounts
    assert [file.name for file in (store.path / "snapshots").iterdir()] == [store.snapshot_name()]
    assert again.data_version == report.data_version


# one snapshot or none


@pytest.fixture
def kept_store(tmp_path):
    _, store = loaded(tmp_path, GOOD + "V1,U1,2024-06-01,first\n")
    return store


def files_of(store):
    return {
        str(file.relative_to(store.path)): file.read_bytes() for file in sorted(store.path.rglob("*")) if file.is_file()
    }


@pytest.mark.parametrize(
    ("name", "content", "said"),
    [
        (
            "visits.csv",
            "visit_id,equipment_id\nV1,U1\n",
            r"visits\.csv: the needed column reported_at of visits is missing",
        ),
        ("visits.csv", "unit,date\nU1,03/04/2024\n", r"visits\.csv: no value of reported_at settles"),
        ("visits.csv", "", r"visits\.csv is empty; one of its first lines must name the columns"),
        (
            "odd.csv",
            "colour,smell\nred,bad\n",
            r"odd\.csv \(headers: colour, smell\): neither its name nor its headers say which table it is; let",
        ),
        ("visits.sqlite", "not one", r"visits\.sqlite is named like a SQLite file but isn't one"),
    ],
)
def test_a_load_that_fails_says_why_and_leaves_the_store_as_it_was(kept_store, tmp_path, name, content, said):
    before = files_of(kept_store)
    bad = tmp_path / "bad"
    bad.mkdir()
    (bad / name).write_text(content)
    with pytest.raises(SourceError, match=said) as caught:
        load_log(bad, kept_store, loaded_on=LOADED_ON)
    assert "\n" not in str(caught.value)
    assert files_of(kept_store) == before
    assert visits_of(kept_store) == [("V1", "U1", "first")]


def test_a_missing_log_leaves_the_store_as_it_was(kept_store, tmp_path):
    before = files_of(kept_store)
    with pytest.raises(SourceError, match="isn't there"):
        load_log(tmp_path / "nowhere", kept_store, loaded_on=LOADED_ON)
    assert files_of(kept_store) == before


def test_a_first_load_without_visits_is_refused(tmp_path):
    log = write_log(tmp_path / "log", equipment=[unit("U1")])
    with pytest.raises(SourceError, match="log has no visits; a log needs a table of visits"):
        load_log(log, Store(tmp_path / "store"), loaded_on=LOADED_ON)
    with pytest.raises(StoreError, match="nothing is loaded"):
        Store(tmp_path / "store").open()


@pytest.mark.parametrize("place", ["run_checks", "read_report", "keep_source"])
def test_a_load_cut_off_in_the_middle_leaves_no_half(kept_store, tmp_path, monkeypatch, place):
    before = files_of(kept_store)

    def cut(*_args, **_options):
        raise KeyboardInterrupt

    monkeypatch.setattr(load if place == "keep_source" else filling, place, cut)
    more = write_log(tmp_path / "more", visits=[visit("V2", "U1", "2024-06-02")])
    with pytest.raises(KeyboardInterrupt):
        load_log(more, kept_store, loaded_on=LOADED_ON)
    assert visits_of(kept_store) == [("V1", "U1", "first")]
    monkeypatch.undo()
    after = files_of(kept_store)
    assert after["manifest.json"] == before["manifest.json"]
    report = load_log(more, kept_store, loaded_on=LOADED_ON)
    assert report.loaded
    assert [row[0] for row in visits_of(kept_store)] == ["V1", "V2"]
    assert len(list((kept_store.path / "snapshots").iterdir())) == 1


def test_an_account_that_doesnt_add_up_is_refused(kept_store, tmp_path, monkeypatch):
    def short(*args, **options):
        report = read(*args, **options)
        return filling.LoadReport(
            data_version="", loaded=True, reasons=(), notices=(), remarks=(),
            accounts=tuple(
                type(a)(**{**{f: getattr(a, f) for f in a.__slots__}, "clean": a.clean - 1}) for a in report.accounts
            ),
        )  # fmt: skip

    read = filling.read_report
    monkeypatch.setattr(filling, "read_report", short)
    more = write_log(tmp_path / "more", visits=[visit("V2", "U1", "2024-06-02")])
    with pytest.raises(SourceError, match="the account doesn't add up"):
        load_log(more, kept_store, loaded_on=LOADED_ON)
    assert visits_of(kept_store) == [("V1", "U1", "first")]


def test_rows_lost_by_the_fast_reader_are_read_again(tmp_path, monkeypatch):
    # a reader that loses a record is caught by the count over the bytes, and the careful one takes over
    def loses_one(self, facts):
        relation = whole(self, facts)
        return relation if self.repaired else f"(select * from {relation} limit 2)"

    whole = raw.RawTable._csv_relation
    monkeypatch.setattr(raw.RawTable, "_csv_relation", loses_one)
    report, store = loaded(tmp_path, GOOD + "".join(f"V{i},U1,2024-06-01,\n" for i in range(5)))
    assert report.accounts[0].clean == 5
    with store.open() as database:
        assert database.rows("select repaired from log.landing.source") == [(True,)]


def test_what_was_future_at_the_load_stays_so_in_a_rebuild(tmp_path):
    report, store = loaded(tmp_path, GOOD + "V1,U1,2024-06-01,\nV2,U1,2026-03-02,\n")
    assert report.n_quarantined == 1
    assert rebuild(store).n_quarantined == 1


def test_rebuild_without_a_load_says_what_to_run(tmp_path):
    with pytest.raises(StoreError, match=r"nothing is loaded in .*; run: dogdays load"):
        rebuild(Store(tmp_path / "store"))


def test_rebuild_without_a_kept_source_says_which(kept_store):
    for file in kept_store.sources.iterdir():
        file.unlink()
    with pytest.raises(StoreError, match=r"the kept copy of visits\.csv is missing"):
        rebuild(kept_store)


def test_the_report_is_plain_data(kept_store):
    report = rebuild(kept_store)
    assert report.to_dict()["accounts"][0]["records"] == 1
    assert list(report.to_frame().columns) == [
        "source",
        "table",
        "records",
        "clean",
        "quarantined",
        "duplicate",
        "blank",
    ]
    with kept_store.open() as database:
        assert list(records_frame(database, "kept").columns) == ["source", "table_name", "record", "reason", "text"]


def test_a_property_is_filled_in_where_there_is_only_one(tmp_path):
    log = write_log(
        tmp_path / "log", equipment=[{"equipment_id": "U1", "building": "1"}], visits=[visit("V1", "U1", "2024-06-01")],
        coverage=[{"property": "Oak Row", "from_date": "2024-01-01", "to_date": "2024-12-31"}],
    )  # fmt: skip
    store = Store(tmp_path / "store")
    load_log(log, store, loaded_on=LOADED_ON)
    with store.open() as database:
        assert database.rows("select property from log.clean.visit") == [("Oak Row",)]


def test_headers_only_in_another_table_is_fine(tmp_path):
    log = write_log(tmp_path / "log", visits=[visit("V1", "U1", "2024-06-01")])
    with (log / "stock.csv").open("w", newline="") as stream:
        csv.writer(stream).writerow(["location", "part_no", "on_hand"])
    report = load_log(log, Store(tmp_path / "store"), loaded_on=LOADED_ON)
    assert [account.records for account in report.accounts] == [1, 0]

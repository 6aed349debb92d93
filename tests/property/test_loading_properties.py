"""What must hold of any log: every record accounted for, no traceback, row order and a second load change nothing."""

import csv
import datetime as dt
import io
import random
import tempfile
from pathlib import Path

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from small_logs import unit, write_log

from fleet.errors import FleetError
from fleet.histories.build import build_histories
from fleet.ingest.csv_bytes import look_at_csv
from fleet.ingest.csv_repair import repair
from fleet.ingest.load import load_log
from fleet.ingest.report import records_frame
from fleet.store.snapshots import Store

LOADED_ON = dt.date(2025, 1, 1)
few = settings(
    max_examples=25, derandomize=True, deadline=None, database=None, suppress_health_check=[HealthCheck.too_slow]
)

HEADER = "visit_id,equipment_id,reported_at,labor_cost,finding,notes"

cells = st.one_of(
    st.sampled_from(
        ["", " ", "\ufeff", "-", "V1", "V2", "U1", "2024-06-01", "06/25/2024", "25.06.2024", "45476", "$1,200.50",
         "(3)", "run capacitor", "contactor", "no fault found", '"', 'say "x"', "a,b", "two\nlines", "total", "nan",
         "µF", "\x00"]
    ),
    st.text(alphabet=st.characters(codec="utf-8", exclude_categories=("Cs",)), max_size=8),
)  # fmt: skip
records = st.lists(cells, min_size=0, max_size=8)


@st.composite
def csv_texts(draw):
    """Draw the text of a visits file: most records well formed, some broken in one of many ways."""
    lines = [HEADER]
    for fields in draw(st.lists(records, max_size=8)):
        if draw(st.booleans()):
            fields = [*fields, *[""] * 6][:6]
        stream = io.StringIO()
        csv.writer(stream, lineterminator="").writerow(fields)
        raw = ",".join(fields)
        lines.append(stream.getvalue() if draw(st.integers(0, 3)) else raw)
    return draw(st.sampled_from(["\n", "\r\n", "\r"])).join(lines) + draw(st.sampled_from(["", "\n", "\n\n"]))


def load_text(folder, text, encoding="utf-8"):
    log = folder / "log"
    log.mkdir(exist_ok=True)
    (log / "visits.csv").write_bytes(text.encode(encoding, errors="replace"))
    store = Store(folder / "store")
    return load_log(log, store, loaded_on=LOADED_ON), store


@few
@given(csv_texts(), st.sampled_from(["utf-8", "cp1252", "utf-16"]))
def test_every_record_of_any_text_is_accounted_for_or_the_load_says_why(text, encoding):
    with tempfile.TemporaryDirectory() as name:
        try:
            report, store = load_text(Path(name), text, encoding)
        except FleetError:
            assert not (Path(name) / "store" / "manifest.json").exists()
            return
        account = report.accounts[0]
        assert account.balanced
        with store.open() as database:
            told = [len(records_frame(database, standing)) for standing in ("quarantined", "duplicate", "blank")]
            clean = database.value("select count(*) from log.clean.visit")
        assert (clean, *told) == (account.clean, account.quarantined, account.duplicate, account.blank)


@few
@given(csv_texts())
def test_a_second_load_changes_nothing(text):
    with tempfile.TemporaryDirectory() as name:
        try:
            report, store = load_text(Path(name), text)
        except FleetError:
            return
        before = (store.path / "manifest.json").read_bytes()
        again, _ = load_text(Path(name), text)
        assert not again.loaded
        assert again.accounts == report.accounts
        assert (store.path / "manifest.json").read_bytes() == before


@settings(few, max_examples=200)
@given(st.lists(st.lists(cells.filter(lambda cell: "\x00" not in cell and "\r" not in cell), min_size=3, max_size=3)))
def test_a_well_formed_file_is_repaired_to_itself(rows):
    # Python's own writer and reader are the other side of the check
    with tempfile.TemporaryDirectory() as name:
        source = Path(name) / "a.csv"
        with source.open("w", encoding="utf-8", newline="") as stream:
            csv.writer(stream, quoting=csv.QUOTE_ALL, lineterminator="\n").writerows([["a", "b", "c"], *rows])
        found = repair(source, look_at_csv("a.csv", source), 3, Path(name) / "b.csv")
        with (Path(name) / "b.csv").open(encoding="utf-8", newline="") as stream:
            read = [row[1:] for row in csv.reader(stream)]
        assert found.set_aside == ()
        assert read == rows


days = st.dates(dt.date(2023, 1, 1), dt.date(2024, 12, 31))
visits = st.lists(
    st.fixed_dictionaries(
        {
            "equipment_id": st.sampled_from(["U1", "U2"]),
            "reported_at": days.map(str),
            "call_type": st.sampled_from(["no cooling", "preventive maintenance"]),
            "finding": st.sampled_from(["run capacitor", "contactor", "no fault found", ""]),
            "outcome": st.sampled_from(["", "", "", "unit replaced"]),
        }
    ),
    min_size=1,
    max_size=12,
)
parts = st.lists(
    st.fixed_dictionaries(
        {
            "visit_id": st.integers(0, 11).map("V{}".format),
            "component": st.sampled_from(["run capacitor", "contactor"]),
            "why": st.sampled_from(["failed", "weak", "preventive", ""]),
        }
    ),
    max_size=6,
)


def histories_tables(folder, equipment, visits, parts):
    store = Store(folder / "store")
    tables = {"equipment": equipment, "visits": visits, **({"parts_used": parts} if parts else {})}
    load_log(write_log(folder / "log", **tables), store, loaded_on=LOADED_ON)
    histories = build_histories(store)
    asked = {
        "exposure": "select equipment_id, service_from, days from history.exposure join history.unit using (unit_id)",
        "chain": "select equipment_id, component, failed_on, last_day, n_visits, counted from history.chain "
        "join history.unit using (unit_id)",
        "spell": "select equipment_id, component, start_on, end_on, ended, age_known from history.spell "
        "join history.unit using (unit_id)",
    }
    rows = {name: histories.database.rows(f"{sql} order by all") for name, sql in asked.items()}
    covered = histories.database.value("select coalesce(sum(days), 0) from history.exposure")
    per_component = histories.database.rows(
        "select component, sum(days) from history.spell join history.spell_days using (spell_id) group by component"
    )
    histories.close()
    return rows, covered, per_component


@few
@given(visits, parts, st.integers(0, 2**32 - 1))
def test_row_order_is_irrelevant_and_lives_fill_the_time_at_risk(visits, parts, seed):
    numbered = [{"visit_id": f"V{i}", **row} for i, row in enumerate(visits)]
    equipment = [unit("U1", installed_on="2020-05-01"), unit("U2", installed_on="2023-06-01")]
    shuffled = [list(rows) for rows in (equipment, numbered, parts)]
    for rows in shuffled:
        random.Random(seed).shuffle(rows)
    with tempfile.TemporaryDirectory() as one, tempfile.TemporaryDirectory() as other:
        straight, days, lives = histories_tables(Path(one), equipment, numbered, parts)
        mixed, _, _ = histories_tables(Path(other), *shuffled)
    assert mixed == straight
    # every component's lives, end to end, are the time its units were at risk
    assert {total for _, total in lives} <= {days}

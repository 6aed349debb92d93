import datetime as dt

import pytest
from macro_engine import macro_engine, read_all

from fleet.ingest import raw
from fleet.ingest.care import care_sql
from fleet.ingest.decimals import DecimalMark, decide_decimal, decimals_sql
from fleet.ingest.load import load_log, rebuild
from fleet.store.schema import VISITS
from fleet.store.snapshots import Store


def loaded(folder, text):
    (folder / "visits.csv").write_text(text)
    store = Store(folder / "store")
    return load_log(folder / "visits.csv", store, loaded_on=dt.date(2025, 1, 1)), store


@pytest.fixture(scope="module")
def engine(tmp_path_factory):
    with macro_engine(tmp_path_factory.mktemp("engine")) as database:
        yield database


COMMA = ["44,2", "12,50", "1.234,5", "0,500", ",5", "1 234,567", "1\u00a0234,5", "1\u202f234,567", "1.234.567",
         "1234,567",
         "1,2345", "37,5/7,5 uF", "12,50 €", "-0,5", "(12,50)"]  # fmt: skip
POINT = ["44.2", "1,234.5", "0.500", ".5", "1,234,567", "1234.567", "1 234.567", "$1,234.50", "1.2345", "37.5/7.5 uF"]
EITHER = ["1,234", "1.234", "$1,234", "44,2 or 44.2"]
NEITHER = ["44", "", "word", "45/5", "-", "5 lb. 6 oz", "a, b", None]


def test_what_a_cell_says_of_its_decimal_mark(engine):
    written = COMMA + POINT + EITHER + NEITHER
    shapes = ["comma"] * len(COMMA) + ["point"] * len(POINT) + ["undecided"] * len(EITHER) + [None] * len(NEITHER)
    assert dict(zip(written, read_all(engine, "decimal_shape", written), strict=True)) == dict(
        zip(written, shapes, strict=True)
    )
    assert read_all(engine, "decimal_evidence", ["44,2", "44.2", "1,234"]) == ["comma", "point", None]


def test_the_counts_of_a_column(engine):
    counts = engine.rows(
        f"select {decimals_sql('cell')} from (select unnest(?) as cell)", [COMMA + POINT + EITHER + NEITHER]
    )
    assert counts == [(len(COMMA), len(POINT), len(EITHER))]


@pytest.mark.parametrize(
    ("written", "in_points"),
    [
        ("44,2", "44.2"), ("1.234,5", "1234.5"), ("1.234", "1234"), ("1.234.567", "1234567"),
        ("1 234,50 €", "1 234.50 €"),
        ("37,5/7,5 uF", "37.5/7.5 uF"), ("44", "44"), ("(12,50)", "(12.50)"), ("-0,5", "-0.5"), (",5", ".5"),
        ("1,5E+03", "1.5E+03"), ("5 lb. 3 oz.", "5 lb. 3 oz."), ("1 lb, 6 oz", "1 lb, 6 oz"), ("", ""),
        ("word", "word"),
        # written with a decimal point, and so no number of this column: 44.2 must not become 442
        ("44.2", None), ("1,234.5", None), ("0.500", None), (".5", None), ("1,234,567", None), ("1234.567", None),
        ("1.2345", None), ("12.345.67", None), (None, None),
    ],
)  # fmt: skip
def test_from_comma(engine, written, in_points):
    assert engine.value("select from_comma(?)", [written]) == in_points


def test_a_column_of_decimal_commas_is_read_by_its_kind(engine):
    for name, written, meant in [
        ("labor_cost", ["1.234", "12,50 €", "(3,00)", "44.25"], [1234, 12.5, -3, None]),
        ("labor_minutes", ["1.234", "1,5 h", "90"], [1234, 90, 90]),
        ("refrigerant_added_oz", ["1,5 lb", "22,5", "1 lb 6,5 oz"], [24, 22.5, 22.5]),
    ]:
        sql = care_sql("visits", VISITS.column(name), "cell", comma=True)
        rows = engine.rows(f"select {sql} from (select unnest(?) as cell)", [written])
        assert [None if row[0] is None else float(row[0]) for row in rows] == meant


def decide(forced=None, comma=0, point=0, undecided=0):
    return decide_decimal("visits.csv", "labor_cost", forced, n_comma=comma, n_point=point, n_undecided=undecided)


def test_nothing_is_said_where_nothing_speaks_for_a_comma():
    assert decide() is None
    assert decide(point=10) is None
    assert decide(undecided=10) is None


def test_commas_alone_settle_the_column():
    mark = decide(comma=3, undecided=1)
    assert mark == DecimalMark(
        column="labor_cost",
        mark="comma",
        said="visits.csv: labor_cost read with a decimal comma; 3 values can only be read so, "
        "and 1 value that may be either (like 1,234) is read so too",
    )
    assert mark.is_comma
    assert decide(comma=1).said == "visits.csv: labor_cost read with a decimal comma; 1 value can only be read so"


def test_where_both_are_written_each_cell_speaks_for_itself_and_it_is_said():
    mark = decide(comma=2, point=5, undecided=4)
    assert (mark.mark, mark.is_comma) == ("mixed", False)
    assert mark.said == (
        "visits.csv: labor_cost holds 2 values with a decimal comma and 5 with a decimal point; each was read by its "
        'own shape, and 4 values that may be either are read with a decimal point: say decimal = "comma" in a mapping '
        "file if that is wrong"
    )
    assert "either" not in decide(comma=2, point=5).said


@pytest.mark.parametrize("forced", ["comma", "point"])
def test_what_the_user_says_always_wins(forced):
    mark = decide(forced, comma=2, point=5)
    assert (mark.mark, mark.said) == (forced, f"visits.csv: labor_cost read with a decimal {forced}, as told")


@pytest.mark.parametrize("large", [False, True])
def test_a_column_of_commas_is_read_so_however_large_its_file(tmp_path, monkeypatch, large):
    if large:
        monkeypatch.setattr(raw, "LARGE", 1000)
    cells = [f"{50 + i % 200},{i % 90 + 10}" for i in range(500)]
    cells[7], cells[450] = "1,234", "1.234"  # by themselves either a thousand and more, or not
    rows = "".join(f"V{i};U1;2024-06-01;{cell};{i}\n" for i, cell in enumerate(cells))
    report, store = loaded(tmp_path, "visit_id;equipment_id;reported_at;labor_cost;labor_minutes\n" + rows)
    with store.open() as database:
        read = database.rows("select labor_cost from log.clean.visit where visit_id in ('V7', 'V8', 'V450') order by 1")
    assert [float(cost) for (cost,) in read] == [1.234, 58.18, 1234]
    assert [said for said in report.remarks if "decimal" in said] == [
        "visits.csv: labor_cost read with a decimal comma; 498 values can only be read so, "
        "and 2 values that may be either (like 1,234) are read so too"
    ]
    assert rebuild(store).remarks == report.remarks


@pytest.mark.parametrize("large", [False, True])
def test_a_column_that_writes_both_ways_is_said_however_large_its_file(tmp_path, monkeypatch, large):
    if large:
        monkeypatch.setattr(raw, "LARGE", 1000)
    cells = ["$50.25", "50,25 mfd"] * 100 + ["1,234"]
    rows = "".join(f"V{i};U1;2024-06-01;{cell.removesuffix(' mfd')}\n" for i, cell in enumerate(cells))
    report, store = loaded(tmp_path, "visit_id;equipment_id;reported_at;labor_cost\n" + rows)
    (said,) = [said for said in report.remarks if "decimal" in said]
    assert "100 values with a decimal comma and 100 with a decimal point" in said
    assert "1 value that may be either is read with a decimal point" in said
    with store.open() as database:
        assert database.rows("select max(labor_cost)::int, min(labor_cost)::varchar from log.clean.visit") == [
            (1234, "50.2500")
        ]

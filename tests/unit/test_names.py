"""The spelling rule, in Python and in SQL: one rule, held together here."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.ingest.names import plain_name
from fleet.store.database import Database

NAMES = [
    "A-01", "a 1", "A1", "A-1-12", "A112", "1-12", "11-2", "112", "Bldg 03", "bldg3", "JUNIPER  3", "Juniper-3", "#12",
    "0012", "0", "00", "A-0", "1.5", "1 5", "ÉA-1", "CAP-45/5", "cap 45 5", "J. Ortiz", "", " ", "--", "a_b", "000 001",
    "A-00-00", "x0y00z", "µF 7", "٣ 3",
]  # fmt: skip


@pytest.fixture(scope="module")
def in_sql(tmp_path_factory):
    with Database.scratch(tmp_path_factory.mktemp("names")) as engine:
        engine.run_file("fleet.ingest", "names")
        yield lambda name: engine.value("select plain_name(?)", [name])


@pytest.mark.parametrize("name", NAMES)
def test_both_give_the_same_name(in_sql, name):
    assert plain_name(name) == in_sql(name)


def test_marks_between_numbers_tell_names_apart():
    assert plain_name("JC-0104") == plain_name("jc 104") == "jc104"
    assert len({plain_name(name) for name in ("1-12", "11-2", "112")}) == 3


@settings(max_examples=60, derandomize=True, deadline=None, database=None)
@given(st.text(alphabet="aB0 1-29./_#é", max_size=10))
def test_both_give_the_same_name_whatever_is_written(in_sql, name):
    assert plain_name(name) == in_sql(name)

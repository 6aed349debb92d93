import numpy as np
import pytest
from scipy import stats
from small_logs import histories_of, kept, unit, visit

from fleet.analysis.months import COLUMNS, compare_months


@pytest.fixture
def table(tmp_path):
    # two buildings of four like units for one year; in July building 1 has six failures, building 2 none
    units = [unit(f"{b}{n}", building=b, installed_on="2019-01-01") for b in ("1", "2") for n in range(4)]
    days = [("10", "07-02"), ("11", "07-04"), ("12", "07-06"), ("13", "07-08"), ("10", "07-30"), ("11", "07-31")]
    parts = ["contactor", "contactor", "contactor", "contactor", "fan motor", "fan motor"]
    visits = [
        visit(f"V{i}", tag, f"2021-{day}", finding=part)
        for i, ((tag, day), part) in enumerate(zip(days, parts, strict=True))
    ]
    visits.append(visit("V9", "20", "2021-01-15", finding="contactor"))
    histories = histories_of(
        tmp_path, equipment=units, visits=visits, coverage=[kept("2021-01-01", "2021-12-31")]
    )  # fmt: skip
    yield compare_months(histories).to_frame()
    histories.close()


def test_expected_is_the_fleets_share_by_season_and_age(table):
    july = table[table["month"] == "2021-07"].set_index("building")
    assert july["observed"].to_dict() == {"1": 6, "2": 0}
    # both buildings have the same days at risk, so each is expected to have half of the six
    assert july["expected"].to_numpy() == pytest.approx([3, 3])
    assert july.loc["1", "ratio"] == pytest.approx(2)


def test_rows_add_up_and_every_month_is_there(table):
    assert list(table.columns) == [c.name for c in COLUMNS]
    assert len(table) == 24
    assert table["observed"].sum() == 7
    assert table["expected"].sum() == pytest.approx(7)


def test_p_value_is_the_poisson_mid_p(table):
    row = table[(table["month"] == "2021-07") & (table["building"] == "1")].iloc[0]
    assert row["p_value"] == pytest.approx(stats.poisson.sf(6, 3) + 0.5 * stats.poisson.pmf(6, 3))


def test_a_month_without_any_failure_is_not_compared(table):
    march = table[table["month"] == "2021-03"]
    assert march["expected"].tolist() == [0, 0]
    assert np.isnan(march["ratio"]).all()
    assert march["note"].str.startswith("no failure of the fleet").all()

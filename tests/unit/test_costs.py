"""Costs: recorded money to the cent, credits, estimates apart, and what isn't recorded."""

import csv
import datetime as dt
from decimal import Decimal

import pytest
from small_logs import histories_of, kept, one_visit, unit, visit

from fleet.analysis.costs import COLUMNS, cost_totals, count_costs

VISITS = [
    visit("V1", "U1", "2024-06-30 23:50", labor_cost="100.10", refrigerant_cost="20.05", finding="contactor",
          labor_minutes=60, after_hours="yes"),
    visit("V2", "U1", "2024-07-01 09:00", labor_cost="50.00", other_cost="-5.00", labor_minutes=50, after_hours="no"),
    visit("V3", "U2", "2024-07-02 10:00", labor_minutes=30, after_hours="no", vendor="Outside"),
    visit("V4", "U2", "2024-07-03", call_type="preventive maintenance", labor_cost="12.34"),
    # after U2 was retired: counts in costs all the same
    visit("V5", "U2", "2024-09-09 10:00", other_cost="7.77"),
]  # fmt: skip
PARTS = [
    {"visit_id": "V1", "part_no": "C1", "component": "contactor", "quantity": 3, "unit_cost": "0.333", "why": "failed"},
    {"visit_id": "V1", "part_no": "C2", "component": "contactor", "quantity": "", "unit_cost": "10.00",
     "warranty": "yes", "credit": "4.00"},
    {"visit_id": "V2", "part_no": "C3", "component": "wiring", "quantity": 2, "unit_cost": "-1.50"},
    {"visit_id": "V4", "part_no": "C4", "component": "dirty filter", "quantity": 1, "unit_cost": ""},
]  # fmt: skip
EQUIPMENT = [unit("U1"), unit("U2", building="2", retired_on="2024-08-31")]


@pytest.fixture
def histories(tmp_path):
    built = histories_of(
        tmp_path, visits=VISITS, parts_used=PARTS, equipment=EQUIPMENT, coverage=[kept("2024-06-01", "2024-12-31")]
    )
    yield built
    built.close()


def row_of(answer, month, building, cause):
    table = answer.to_frame()
    found = table.loc[(table["month"] == month) & (table["building"] == building) & (table["cause"] == cause)]
    assert len(found) == 1
    return found.iloc[0]


def test_month_of_the_report_and_cause_of_the_finding(histories):
    row = row_of(count_costs(histories), "2024-06", "1", "contactor")
    assert row["labor"] == pytest.approx(100.10)
    assert row["parts"] == pytest.approx(3 * 0.333 + 10.00)  # under warranty too
    assert row["refrigerant"] == pytest.approx(20.05)
    assert row["credit"] == pytest.approx(4.00)
    assert row["total"] == pytest.approx(100.10 + 10.999 + 20.05 - 4.00)
    assert row["after_hours"] == pytest.approx(row["total"])
    assert row["property"] == "Oak Row"


def test_negative_money_goes_to_credit(histories):
    row = row_of(count_costs(histories), "2024-07", "1", "not recorded")
    assert (row["labor"], row["parts"], row["other"]) == (50.0, 0.0, 0.0)
    assert row["credit"] == pytest.approx(5.00 + 2 * 1.50)
    assert row["total"] == pytest.approx(50.00 - 8.00)
    assert row["after_hours"] == 0.0


def test_estimated_labor_stands_apart(histories):
    answer = count_costs(histories)
    row = row_of(answer, "2024-07", "2", "not recorded")
    # by day one visit has minutes and a cost: one dollar a minute; V3 has 30 minutes and no cost
    assert row["estimated"] == pytest.approx(30.0)
    assert row["total"] == pytest.approx(12.34)
    assert row["rounds"] == pytest.approx(12.34)
    assert row["vendor"] == 0.0
    assert "labor cost missing on 1, estimated" in row["note"]
    assert "1 part lines without a price" in row["note"]
    assert any("recorded money only" in note for note in answer.notes)


def test_nothing_to_estimate_from_is_blank(tmp_path):
    built = histories_of(tmp_path, visits=[visit("V1", "U1", "2024-07-01", labor_minutes=30)])
    row = count_costs(built).to_frame().iloc[0]
    assert row["estimated"] != row["estimated"]
    assert "no visit of the log gives a price a minute" in row["note"]


def test_visits_out_of_service_count_and_are_no_exclusion(histories):
    answer = count_costs(histories)
    assert row_of(answer, "2024-09", "2", "not recorded")["total"] == pytest.approx(7.77)
    assert answer.n_used == len(VISITS)
    assert not answer.excluded
    assert any("outside every service period" in note for note in answer.notes)


def test_as_of_leaves_later_money_out(tmp_path):
    built = histories_of(tmp_path, visits=VISITS, equipment=EQUIPMENT, as_of=dt.date(2024, 7, 1))
    assert set(count_costs(built).to_frame()["month"]) == {"2024-06", "2024-07"}
    assert cost_totals(count_costs(built))["labor"] == Decimal("150.10")


def test_totals_reconcile_to_the_raw_text(histories, tmp_path):
    def cells(name, column):
        with (tmp_path / "log" / f"{name}.csv").open(encoding="utf-8") as stream:
            return [(row, Decimal(row[column] or "0")) for row in csv.DictReader(stream)]

    amounts = [a for c in ("labor_cost", "refrigerant_cost", "other_cost") for _, a in cells("visits", c)]
    amounts += [a * Decimal(row["quantity"] or "1") for row, a in cells("parts_used", "unit_cost")]
    credit = sum((-a for a in amounts if a < 0), Decimal(0)) + sum(a for _, a in cells("parts_used", "credit"))
    total = sum((a for a in amounts if a > 0), Decimal(0)) - credit
    totals = cost_totals(count_costs(histories))
    assert totals["total"] == total.quantize(Decimal("0.01"))
    assert totals["credit"] == credit.quantize(Decimal("0.01"))
    assert totals["labor"] == Decimal("162.44")


def test_smallest_log(tmp_path):
    answer = count_costs(one_visit(tmp_path))
    assert list(answer.to_frame().columns) == [column.name for column in COLUMNS]
    row = answer.to_frame().iloc[0]
    assert (row["month"], row["cause"], row["total"], row["estimated"]) == ("2024-07", "not recorded", 0.0, 0.0)
    assert cost_totals(answer)["total"] == Decimal("0.00")

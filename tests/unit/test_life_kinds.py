"""Kinds of units taken together: when their laws are weighed by units, and when one law stands."""

import math

import numpy as np
import pytest
from scipy import optimize

from fleet.analysis.life_groups import LifeQuestion, estimate_groups
from fleet.analysis.life_kinds import SHARES, kind_factors, kinds_within
from tests.studies import life_study
from tests.unit.test_life_pooling import CAP, fleet_of


def factors_of(sizes, scales):
    return both_of(sizes, scales)[0]


def both_of(sizes, scales):
    rows = fleet_of(sizes, scales)
    rows = rows.assign(by_model_family=rows["by_group"], by_compressor_type="rotary")
    asked = LifeQuestion()
    groups = estimate_groups(rows, CAP, asked)
    return kind_factors(rows, CAP, asked, groups), groups[0].estimate.average


@pytest.mark.parametrize(
    ("by", "more"),
    [
        ((), ("model_family", "compressor_type")),
        (("model_family",), ("compressor_type",)),
        (("model_family", "compressor_type"), ()),
        (("building",), ()),
        (("lot",), ()),
    ],
)
def test_only_groups_of_kinds_hold_kinds(by, more):
    assert kinds_within(by) == more


def test_alike_kinds_hardly_move_the_ages():
    (found,) = factors_of([400, 400], [9.0, 9.0])
    assert found["kinds"] == 2
    assert (found["b10"], found["median"]) == pytest.approx((1.0, 1.0), abs=0.05)


@pytest.mark.parametrize(("column", "share"), SHARES.items())
def test_unlike_kinds_come_nearer_to_a_unit_taken_at_random(column, share):
    (found,), one_law = both_of([1500, 1500], [6.0, 12.0])

    def missing(age):
        return np.mean([1.0 - math.exp(-((age / scale) ** life_study.SHAPE)) for scale in (6.0, 12.0)]) - share

    truth, plain = optimize.brentq(missing, 0.1, 50.0), one_law.quantile(share)
    moved = plain * found[column]
    assert moved == pytest.approx(truth, rel=0.06)  # chance in some two thousand failures
    assert abs(math.log(moved / truth)) < abs(math.log(plain / truth))


def test_one_kind_or_few_failures_leave_the_one_law():
    assert factors_of([300], [9.0]) == [{}]
    assert factors_of([12, 12], [30.0, 30.0]) == [{}]

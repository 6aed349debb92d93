"""Cooling degree days against published day examples and a real daily record.

The Seattle record (US public-domain weather data, 2012-2015, 1461 days) is read from the installed package of open
example data; its sums of degree days were computed independently of this project's code.
"""

import importlib.resources

import numpy as np
import pandas as pd
import pytest

from fleet.trade.degree_days import BASE_C, cooling_degree_days, fahrenheit


@pytest.fixture(scope="module")
def seattle():
    text = importlib.resources.files("vega_datasets").joinpath("_data/seattle-weather.csv")
    with importlib.resources.as_file(text) as path:
        record = pd.read_csv(path, parse_dates=["date"])
    assert len(record) == 1461
    return record


def by_year(record, days):
    return pd.Series(days, index=record["date"].dt.year).groupby(level=0).sum().to_numpy()


@pytest.mark.parametrize(
    ("high_f", "low_f", "published"),
    [
        (90.0, 70.0, 15.0),  # a US city's FAQ on degree days (read)
        (75.0, 65.0, 5.0),  # a newspaper quoting the National Weather Service (read in a secondary page)
        (85.0, 75.0, 15.0),  # a climate-science media library: mean of 80 (read in a secondary page)
        (80.0, 70.0, 10.0),  # city and utility pages: mean of 75 (read in a secondary page)
    ],
)
def test_published_days(high_f, low_f, published):
    assert cooling_degree_days(high_f, low_f) == pytest.approx(published, rel=1e-12)
    assert cooling_degree_days(high_f, low_f, whole_degrees=True) == pytest.approx(published, rel=1e-12)


def test_seattle_by_year_unrounded(seattle):
    days = cooling_degree_days(fahrenheit(seattle["temp_max"]), fahrenheit(seattle["temp_min"]))
    np.testing.assert_allclose(by_year(seattle, days), [164.16, 358.71, 346.89, 454.02], rtol=5e-5)


def test_seattle_by_year_in_whole_degrees(seattle):
    days = cooling_degree_days(fahrenheit(seattle["temp_max"]), fahrenheit(seattle["temp_min"]), whole_degrees=True)
    np.testing.assert_array_equal(by_year(seattle, days), [177, 385, 369, 474])


def test_seattle_by_year_in_celsius(seattle):
    days = cooling_degree_days(seattle["temp_max"], seattle["temp_min"], base=BASE_C)
    np.testing.assert_allclose(by_year(seattle, days), [92.70, 202.05, 195.25, 254.90], rtol=5e-5)


def test_seattle_summer_of_2015_by_month(seattle):
    days = cooling_degree_days(fahrenheit(seattle["temp_max"]), fahrenheit(seattle["temp_min"]))
    year = seattle["date"].dt.year == 2015
    months = pd.Series(days[year], index=seattle.loc[year, "date"].dt.month).groupby(level=0).sum()
    # Computed independently, to one decimal.
    np.testing.assert_allclose(months.loc[5:9].to_numpy(), [6.6, 111.7, 196.4, 126.4, 12.9], atol=0.05, rtol=0)

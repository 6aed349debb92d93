"""The curve of repeated failures and the trends as pictures: broken where it must be, titled with the finding."""

import datetime as dt

import numpy as np
import pandas as pd
import pytest

from fleet.answer import Answer, AnswerColumn
from fleet.errors import SchemaError
from fleet.present.recurrence_pictures import draw_mean_failures, recurrence_picture, trends_picture

AS_OF = dt.date(2026, 3, 1)


def answer(name, rows, **more):
    table = pd.DataFrame(rows)
    columns = tuple(AnswerColumn(name=str(column), kind="text", meaning="") for column in table.columns)
    return Answer(name=name, as_of=AS_OF, method="", n_used=1, table=table, columns=columns, **more)


def curve(**cells):
    base = {"component": "wiring", "segment": 1, "day": dt.date(2023, 5, 2), "years": 1.5, "mean_failures": 0.1,
            "low": 0.05, "high": 0.2}  # fmt: skip
    later = base | {"day": dt.date(2024, 7, 1), "years": 3.2, "mean_failures": 0.3, "low": 0.2, "high": 0.42, **cells}
    return [base, later]


def drawn(picture):
    chart = picture.chart.to_dict()
    return chart, [layer for layer in chart["layer"] if "detail" in layer["encoding"]]


def test_the_curve_is_a_stair_in_its_band_over_the_calendar_with_hot_months():
    (picture,) = recurrence_picture(answer("recurrence", curve(), settings={"clock": "calendar"}))
    chart, layers = drawn(picture)
    assert picture.said == "A unit has had about 0.30 wiring failures, 0.20 to 0.42, by July 2024"
    assert [layer["mark"]["type"] for layer in layers] == ["area", "line", "circle"]
    assert layers[0]["mark"]["interpolate"] == layers[1]["mark"]["interpolate"] == "step-after"
    assert layers[1]["encoding"]["x"] | {"field": "day", "title": "day of the report"} == layers[1]["encoding"]["x"]
    assert layers[1]["encoding"]["y"]["title"] == "failures a unit has had"
    assert layers[0]["encoding"]["y2"]["field"] == "high"
    assert len(chart["layer"]) == 4
    assert "Shaded: June to September." in " ".join(chart["title"]["subtitle"])


def test_the_curve_breaks_between_its_segments_and_says_so():
    (picture,) = recurrence_picture(answer("recurrence", curve(segment=2), settings={"clock": "age"}))
    chart, layers = drawn(picture)
    assert picture.said.endswith("by an age of 3 years")
    # one line a segment: nothing is drawn across the time in which too few were watched
    assert {layer["encoding"]["detail"]["field"] for layer in layers} == {"segment"}
    assert layers[1]["encoding"]["x"]["field"] == "years"
    assert layers[1]["encoding"]["x"]["title"] == "unit age, years"
    assert len(chart["layer"]) == 3
    assert "Broken where fewer than five units were watched." in " ".join(chart["title"]["subtitle"])


def test_no_failure_makes_no_picture_and_a_missing_column_is_named():
    none = curve(mean_failures=np.nan)[1:]
    assert recurrence_picture(answer("recurrence", none, settings={"clock": "age"})) == []
    with pytest.raises(SchemaError, match="the chart needs the columns segment"):
        draw_mean_failures(pd.DataFrame(curve()).drop(columns="segment"), "x", by_age=True)


def trend(component, factor, verdict="can't tell"):
    return {"component": component, "yearly_factor": factor, "low": factor - 0.1, "high": factor + 0.1,
            "verdict": verdict}  # fmt: skip


def test_trends_stand_beside_no_change_steepest_first_without_all_together():
    rows = [trend("wiring", 0.9), trend("contactor", 1.3, "more frequent"), trend("other", np.nan), trend("", 1.1)]
    (picture,) = trends_picture(answer("trends", rows))
    chart = picture.chart.to_dict()
    assert picture.said == "1 of 2 components shows a trend of its own"
    assert chart["layer"][0]["encoding"]["y"]["sort"] == ["contactor", "wiring"]
    assert chart["layer"][0]["encoding"]["x"]["scale"] == {"zero": False}
    assert chart["layer"][2]["mark"]["type"] == "rule"
    (quiet,) = trends_picture(answer("trends", [trend("wiring", 1.0)]))
    assert quiet.said == "None of 1 component shows a trend of its own"
    assert trends_picture(answer("trends", rows[2:])) == []

"""The pages of what comes back, what fails together, suspect parts, hot homes and refrigerant: answers and numbers."""

import json
import re

import pytest
from streamlit.testing.v1 import AppTest

from dashboards import layout
from dashboards.launch import APP, STORE_VARIABLE
from fleet.analysis.callbacks import count_callbacks
from fleet.analysis.clusters import scan_clusters
from fleet.analysis.home_waits import list_home_waits
from fleet.analysis.months import compare_months
from fleet.analysis.new_parts import count_bad_new_parts
from fleet.analysis.part_waits import count_part_waits
from fleet.analysis.refrigerant_order import forecast_refrigerant
from fleet.analysis.refrigerant_use import track_refrigerant
from fleet.analysis.waits import measure_waits
from fleet.histories.build import build_histories
from fleet.present.chain_lines import list_callback_runs
from fleet.present.coming_back_words import standing_out
from fleet.present.places import only
from fleet.present.sentences import opening
from fleet.store.snapshots import Store
from fleet.trade.cautions import cautions_on


@pytest.fixture(scope="module")
def histories(demo_store):
    built = build_histories(Store(demo_store))
    yield built
    built.close()


@pytest.fixture
def app(demo_store, monkeypatch):
    monkeypatch.setenv(STORE_VARIABLE, str(demo_store))
    return AppTest.from_file(str(APP), default_timeout=240).run()


def goes_to(app, page):
    return app.switch_page(f"app_pages/{page}.py").run()


def plain(marked):
    """Return text as a reader sees it: without backslashes, blanks that don't break as blanks."""
    return re.sub(r"\\(.)", r"\1", marked).replace("\N{NO-BREAK SPACE}", " ")


def said(app):
    return plain(app.header[0].value)


def sound(app):
    return not app.exception and "can't be shown" not in said(app)


def title_of(chart):
    return " ".join(json.loads(chart.proto.spec)["title"]["text"]).replace("\N{NO-BREAK SPACE}", " ")


def paragraphs(app):
    return plain("\n".join(element.value for element in app.markdown))


def headings(app):
    return [heading.value for heading in app.subheader]


def test_what_comes_back_sets_everyone_beside_like_work(app, histories):
    goes_to(app, "comes_back")
    answer = count_callbacks(histories)
    assert said(app) == opening(answer)
    app.selectbox(key="callbacks by").select("technician").run()
    assert sound(app)
    assert standing_out(answer, "technician") in paragraphs(app)
    shown = app.dataframe[0].value
    own = answer.table[answer.table["by"] == "technician"]
    assert set(shown["value"]) == set(own["value"])
    # by the number of calls, never by the share: no table of the best
    assert list(shown["calls"]) == sorted(own["calls"], reverse=True)
    assert shown["share"].between(-1, 1).all()


def test_runs_of_call_backs_and_what_follows_what_are_told(app, histories):
    goes_to(app, "comes_back")
    runs = list_callback_runs(histories)
    assert opening(runs) in paragraphs(app)
    assert len(app.dataframe[1].value) == len(runs.table)
    assert headings(app) == ["Called to again and again", "What follows what"]
    assert "None of" in paragraphs(app) or "What follows what beyond chance" in paragraphs(app)


def test_what_fails_together_shows_buildings_by_month_and_what_goes_on_now(app, histories):
    goes_to(app, "fails_together")
    assert said(app) == opening(scan_clusters(histories))
    assert opening(compare_months(histories)) in paragraphs(app)
    assert "in a heap now" in paragraphs(app)
    assert "would mostly be found in" in paragraphs(app)
    assert "July 2024" in title_of(app.get("vega_lite_chart")[0])
    app.selectbox(key="months of").select("2025").run()
    assert sound(app)
    # another year's chart finds another month
    later = title_of(app.get("vega_lite_chart")[0])
    assert later.startswith("Quernstone Court: furthest above what was expected, ")
    assert "2025" in later


def test_what_fails_together_keeps_to_the_property_and_building_looked_at(app, histories):
    app.selectbox(key="property").select("Quernstone Court").run()
    app.selectbox(key="building Quernstone Court").select("7").run()
    goes_to(app, "fails_together")
    assert sound(app)
    assert opening(only(compare_months(histories), "Quernstone Court", "7")) in paragraphs(app)
    assert set(app.dataframe[0].value["building"]) == {"7"}


def test_suspect_parts_come_with_cautions_before_the_list(app, histories):
    goes_to(app, "suspect_parts")
    assert "lot 22W08" in said(app)
    assert "are in service" in said(app)
    parts = headings(app)
    assert parts.index("Before you reach in") < parts.index("Where they are, and what to do first")
    assert "A capacitor holds its charge after the power is off" in paragraphs(app)
    carried = app.dataframe[0].value
    assert set(carried["lot"]) == {"22W08"}
    # homes where heat is a danger stand first
    assert list(carried["priority_home"]) == sorted(carried["priority_home"], reverse=True)
    assert "may still be claimed" in paragraphs(app)
    assert opening(count_bad_new_parts(histories)) in paragraphs(app)


def test_hot_homes_stand_with_priority_homes_first_and_the_parts_waited_for(app, histories):
    goes_to(app, "hot_homes")
    assert said(app) == opening(measure_waits(histories))
    text = paragraphs(app)
    assert opening(list_home_waits(histories)) in text
    assert opening(count_part_waits(histories)) in text
    assert all(caution.text in text for caution in cautions_on("heat"))
    assert app.dataframe[0].value["priority_home"].iloc[0] == "yes"


def test_hot_homes_of_one_property_are_measured_there(app, histories):
    app.selectbox(key="property").select("Tansyfield Commons").run()
    goes_to(app, "hot_homes")
    assert said(app) == opening(only(measure_waits(histories, by=("property",)), "Tansyfield Commons"))
    assert set(app.dataframe[0].value["property"]) == {"Tansyfield Commons"}


def test_refrigerant_stands_with_its_cautions_and_as_an_indicator(app, histories):
    goes_to(app, "refrigerant")
    assert said(app) == opening(track_refrigerant(histories))
    text = paragraphs(app)
    assert all(caution.text in text for caution in cautions_on("refrigerant"))
    assert "is an indicator, not a compliance result" in text
    assert opening(forecast_refrigerant(histories)) in text
    assert list(app.dataframe[1].value["refrigerant"])[:2] == ["R-410A", "R-22"]


def test_a_share_is_written_without_false_precision(app):
    goes_to(app, "hot_homes")
    assert layout._share_cell(0.9999) == "over 99 %"
    assert layout._share_cell(0.0004) == "under 1 %"
    # what is shown is said in words, what is sorted stays a number
    assert app.dataframe[2].value["share_of_hours"].between(0, 1).all()
    assert b"52 %" in app.dataframe[2].proto.arrow_data.styler.display_values

"""Every page, filter and empty state without a browser: its title, its sentence, a number known from the answer."""

import csv
import datetime as dt
import io
import json
import re
import shutil
from pathlib import Path

import pandas as pd
import pytest
from small_logs import visit, write_log
from streamlit.testing.v1 import AppTest

import dashboards
from dashboards.launch import APP, STORE_VARIABLE
from fleet.analysis.callbacks import count_callbacks
from fleet.analysis.causes import look_for_causes
from fleet.analysis.costs import count_costs
from fleet.analysis.drift import estimate_drift
from fleet.analysis.failure_trends import compare_trends
from fleet.analysis.life import estimate_life
from fleet.analysis.life_curve import split_life_ends
from fleet.analysis.repeated_events import describe_recurrence
from fleet.analysis.units import find_failing_units
from fleet.histories.build import build_histories
from fleet.ingest.load import load_log
from fleet.planning.demand import forecast_demand
from fleet.planning.stock import StockSettings, plan_stock
from fleet.present.failing_words import first_hint, prospect, standing
from fleet.present.numbers import money
from fleet.present.places import only
from fleet.present.sentences import opening
from fleet.present.summaries import likely_bad
from fleet.present.unit_answers import hints_of
from fleet.store.snapshots import Store

PAGES = {
    "before_summer": "Before summer",
    "by_building": "By building",
    "one_unit": "One unit",
    "keeps_failing": "What keeps failing",
    "capacitors": "Capacitors",
    "which_kinds": "Which kinds fail more",
    "how_long_parts_last": "How long parts last",
    "comes_back": "What comes back",
    "fails_together": "What fails together",
    "suspect_parts": "Suspect parts",
    "refrigerant": "Refrigerant",
    "hot_homes": "Homes without cooling",
    "money": "Seasons and money",
    "the_log": "The log",
}
DEMO = Path(__file__).resolve().parents[2] / "data_demo"
FAILED = "can't be shown"


def app_on(store, monkeypatch):
    monkeypatch.setenv(STORE_VARIABLE, str(store))
    return AppTest.from_file(str(APP), default_timeout=120)


def goes_to(app, page):
    return app.switch_page(f"app_pages/{page}.py").run()


def plain(marked):
    """Return text as a reader sees it: without backslashes, blanks that don't break as blanks."""
    return re.sub(r"\\(.)", r"\1", marked).replace("\N{NO-BREAK SPACE}", " ")


def said(app):
    """Return the page's sentence as it reads, without the marks that keep markdown quiet."""
    return plain(app.header[0].value)


def sound(app):
    return not app.exception and all(FAILED not in header.value for header in app.header)


def paragraphs(app):
    return plain("\n".join(element.value for element in app.markdown))


@pytest.fixture(scope="module")
def histories(demo_store):
    built = build_histories(Store(demo_store))
    yield built
    built.close()


@pytest.fixture(scope="module")
def order(histories):
    return plan_stock(histories, forecast_demand(histories))


@pytest.fixture
def app(demo_store, monkeypatch):
    return app_on(demo_store, monkeypatch)


@pytest.mark.parametrize(("page", "name"), PAGES.items())
def test_every_page_opens_with_its_name_one_sentence_and_its_day(app, page, name):
    app.run()
    goes_to(app, page)
    assert sound(app), app.exception
    assert app.title[0].value == name
    assert len(app.header) == 1
    assert said(app).endswith((".", "?"))
    if page not in ("one_unit", "the_log"):
        assert "As of 2025-12-31, from " in paragraphs(app)


def test_before_summer_orders_what_the_plan_says(app, order):
    app.run()
    assert said(app) == opening(order.answer)
    lines = app.dataframe[0].value
    assert lines["to_order"].sum() == order.pieces_to_order
    assert lines["cost"].sum() == pytest.approx(order.order_cost)
    assert (lines["why"].fillna("") + lines["note"].fillna("")).str.len().min() > 0


def test_a_smaller_budget_makes_a_cheaper_order_and_says_so(app, order):
    app.run()
    app.number_input(key="budget").set_value(2000.0).run()
    assert sound(app)
    assert app.dataframe[0].value["cost"].sum() <= 2000.0 < order.order_cost
    assert "budget 2000.0" in paragraphs(app)


def test_a_hot_summer_and_a_service_floor_reach_the_plan(app, histories):
    app.run()
    app.selectbox(key="summer").select("hot")
    app.number_input(key="service").set_value(97.0)
    app.selectbox(key="shelves").select("shop").run()
    assert sound(app)
    planned = plan_stock(
        histories, forecast_demand(histories, summer="hot"), StockSettings(service=0.97, shelves="shop")
    )
    assert said(app) == opening(planned.answer)


def test_the_dials_stand_where_they_were_left(app):
    app.run()
    app.number_input(key="budget").set_value(1500.0).run()
    goes_to(app, "money")
    goes_to(app, "before_summer")
    assert app.number_input(key="budget").value == 1500.0


def test_a_season_that_makes_no_sense_is_answered_in_words(app):
    app.run()
    app.date_input(key="from").set_value(dt.date(2026, 9, 1))
    app.date_input(key="to").set_value(dt.date(2026, 5, 1)).run()
    assert not app.exception
    assert said(app) == "This can't be answered as asked."


def test_by_building_counts_needs_for_every_building(app):
    app.run()
    goes_to(app, "by_building")
    needs = app.dataframe[0].value
    assert len(needs) == 20
    assert list(needs["building"][:3]) == ["1", "2", "3"]
    top = needs.sort_values("mean", ascending=False).iloc[0]
    assert said(app).startswith(f"{top['property']} {top['building']} will likely need most")


def test_the_property_filter_holds_on_every_page(app, histories):
    app.run()
    app.selectbox(key="property").select("Tansyfield Commons").run()
    for page in PAGES:
        goes_to(app, page)
        assert sound(app), page
        assert app.selectbox(key="property").value == "Tansyfield Commons", page
    goes_to(app, "money")
    here = only(count_costs(histories), "Tansyfield Commons")
    assert money(here.table["total"].sum()) in said(app)
    assert set(app.dataframe[0].value["property"]) == {"Tansyfield Commons"}


def test_a_building_can_be_chosen_within_a_property(app, histories):
    app.run()
    app.selectbox(key="property").select("Quernstone Court").run()
    app.selectbox(key="building Quernstone Court").select("7").run()
    goes_to(app, "keeps_failing")
    assert set(app.dataframe[0].value["building"]) == {"7"}
    assert said(app) == opening(only(find_failing_units(histories), "Quernstone Court", "7"))


def test_an_earlier_day_shows_what_was_known_then(app, demo_store):
    app.run()
    app.date_input(key="as_of").set_value(dt.date(2024, 3, 31)).run()
    goes_to(app, "money")
    assert sound(app)
    then = build_histories(Store(demo_store), as_of=dt.date(2024, 3, 31))
    assert said(app) == opening(count_costs(then))
    assert "As of 2024-03-31" in paragraphs(app)
    then.close()


def test_what_keeps_failing_names_the_units_and_their_evidence(app, histories):
    app.run()
    goes_to(app, "keeps_failing")
    answer = find_failing_units(histories)
    assert said(app) == opening(answer)
    worst = answer.table.sort_values("p_bad", ascending=False).iloc[0]
    assert f"**{worst['equipment_id']}.**".replace("-", "") in paragraphs(app).replace("-", "")
    assert worst["evidence"] in paragraphs(app)
    assert prospect(worst) in paragraphs(app)
    assert answer.notes[0] in paragraphs(app)


def test_each_bad_unit_comes_with_its_first_hint_where_nobody_has_looked(app, histories):
    app.run()
    goes_to(app, "keeps_failing")
    bad = likely_bad(find_failing_units(histories))
    causes = look_for_causes(histories, list(bad["equipment_id"]))
    said = [first_hint(causes, tag) for tag in bad["equipment_id"]]
    assert any(said)
    assert all(hint in paragraphs(app) for hint in said)


def test_whether_it_gets_worse_is_told_of_all_and_of_the_component_chosen(app, histories):
    app.run()
    goes_to(app, "keeps_failing")
    assert "Is it getting worse?" in [heading.value for heading in app.subheader]
    assert opening(compare_trends(histories)) in paragraphs(app)
    assert opening(describe_recurrence(histories)) in paragraphs(app)
    app.selectbox(key="recurrence of").select("contactor")
    app.selectbox(key="recurrence clock").select("age").run()
    assert sound(app)
    assert opening(describe_recurrence(histories, component="contactor", clock="age")) in paragraphs(app)
    assert list(app.dataframe[1].value["verdict"]) == list(compare_trends(histories).table["verdict"])


def test_one_unit_says_where_nobody_has_looked_with_basis_and_cautions(app, histories):
    bad = likely_bad(find_failing_units(histories))
    causes = look_for_causes(histories, list(bad["equipment_id"]))
    tag = causes.table["equipment_id"].iloc[0]
    app.run()
    goes_to(app, "one_unit")
    app.selectbox(key="unit").select(tag).run()
    assert sound(app)
    text = paragraphs(app)
    assert standing(find_failing_units(histories), tag) in text
    assert "Not looked at yet" in [heading.value for heading in app.subheader]
    hints = hints_of(causes, tag)
    assert hints
    for hint in hints:
        assert f"**{hint.cause}.** {hint.said}" in text
        assert f"- Basis: {hint.basis}" in text
        assert all(f"- {caution.text}" in text for caution in hint.cautions)
    quiet = next(t for t in bad["equipment_id"] if t not in set(causes.table["equipment_id"]))
    app.selectbox(key="unit").select(quiet).run()
    assert look_for_causes(histories, quiet).notes[0] in paragraphs(app)


def test_one_unit_asks_for_a_tag_first(app, histories):
    app.run()
    goes_to(app, "one_unit")
    assert said(app) == "Which unit are you at?"
    tags = histories.database.value("select count(distinct equipment_id) from history.unit")
    assert f"{tags} are in the log here" in paragraphs(app)


def rows_of(name):
    with (DEMO / name).open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


@pytest.fixture(scope="module")
def planted():
    """A unit the demo's own answer key names as failing, and the lots fitted there, read from the files alone."""
    key = json.loads((DEMO / "answer_key.json").read_text(encoding="utf-8"))
    tags = [row["equipment_id"] for row in key["planted"]["lemons"]["units"]]
    at = {v["visit_id"]: v["equipment_id"] for f in DEMO.glob("visits_*.csv") for v in rows_of(f.name)}
    fitted = [
        p for p in rows_of("parts_used.csv") if at.get(p["visit_id"]) in tags and p["lot"] and p["why"] == "failed"
    ]
    tag = at[fitted[0]["visit_id"]]
    return tag, [part for part in fitted if at[part["visit_id"]] == tag]


def test_one_unit_shows_cautions_before_readings_and_the_whole_history(app, planted):
    tag, parts = planted
    app.run()
    goes_to(app, "one_unit")
    app.selectbox(key="unit").select(tag).run()
    assert sound(app)
    assert said(app).startswith(f"{tag} has had ")
    headings = [heading.value for heading in app.subheader]
    assert headings.index("Before you reach in") < headings.index("Readings so far")
    text = paragraphs(app)
    assert "A capacitor holds its charge after the power is off" in text
    for part in parts:
        assert f"{part['part_no']} (failed, lot {part['lot']})" in text


def test_one_unit_judges_a_reading_in_words(app, histories):
    tag, herm = histories.database.rows(
        "select equipment_id, herm_uf from history.unit where service_to is null and herm_uf is not null "
        "and start_uf_min is null and tolerance_pct = 6 order by equipment_id limit 1"
    )[0]
    app.run()
    goes_to(app, "one_unit")
    app.selectbox(key="unit").select(tag).run()
    app.number_input(key="reading").set_value(float(herm) * 0.8).run()
    assert "**Change.** 20.0 % below its rating, more than 10 %." in paragraphs(app)
    app.selectbox(key="section").select("start").run()
    assert "The rating of the start capacitor isn't in the log" in paragraphs(app)


def test_capacitors_counts_are_those_of_the_answer(app, histories):
    app.run()
    goes_to(app, "capacitors")
    answer = estimate_drift(histories)
    assert said(app) == opening(answer)
    acted = app.dataframe[0].value
    assert len(acted) == answer.table["advice"].isin(["change", "measure again"]).sum()


def on_lives(app, **chosen):
    """Open the page of lives with a part and a grouping chosen."""
    goes_to(app, "how_long_parts_last")
    for name, value in chosen.items():
        app.selectbox(key=f"life {name}").select(value)
    app.run()
    assert sound(app), app.exception
    return app


def test_how_long_parts_last_answers_for_the_part_chosen(app, histories):
    app.run()
    on_lives(app)
    answer = estimate_life(histories, component="run capacitor")
    average = answer.table.iloc[0]
    assert said(app) == opening(answer)
    assert f"A tenth of the run capacitors fail within about {average['b10']:.1f} years" in said(app)
    text = paragraphs(app)
    assert f"{average['weak']} parts were changed while weak, before failing." in text
    assert f"taken as failed that day, about {average['b10_weak_failed']:.1f} years" in text
    assert opening(split_life_ends(histories, "run capacitor")) in text
    assert "3 visits outside every service period of their tag" in text
    assert list(app.dataframe[0].value["model"]) == ["average", "Weibull", "lognormal", "log-logistic"]
    on_lives(app, part="compressor")
    assert said(app) == opening(estimate_life(histories, component="compressor"))
    # nobody watched a compressor long enough to say when half have failed
    assert said(app).endswith("no part was watched long enough to say when half have.")


def test_how_long_parts_last_compares_by_what_is_chosen(app, histories):
    app.run()
    on_lives(app, by="model family")
    answer = estimate_life(histories, component="run capacitor", by=("model_family",))
    assert said(app) == opening(answer)
    shown = app.dataframe[0].value
    assert set(shown["model"]) == {"average"}
    assert set(shown["model_family"]) == set(answer.table["model_family"])
    assert "trust an order only where intervals stay well apart" in paragraphs(app)


def test_how_long_parts_last_says_the_bound_where_failures_are_too_few(app):
    app.run()
    on_lives(app, part="wiring")
    assert said(app).startswith("None of the wiring parts was changed for a failure in ")
    assert "failures per part-year were the rate steady and a tenth fail no sooner than" in said(app)
    assert "were mended without a new part" in paragraphs(app)


def test_how_long_parts_last_keeps_to_the_property_looked_at(app, histories):
    app.run()
    app.selectbox(key="property").select("Tansyfield Commons").run()
    on_lives(app, by="compressor type")
    answer = only(
        estimate_life(histories, component="run capacitor", by=("property", "compressor_type")), "Tansyfield Commons"
    )
    assert said(app) == opening(answer)
    assert len(app.dataframe[0].value) == (answer.table["model"] == "average").sum()


def test_lots_rest_on_parts_fitted_while_the_log_was_kept(app, histories):
    app.run()
    on_lives(app, part="contactor", by="lot")
    answer = estimate_life(histories, component="contactor", by=("part_no", "lot"))
    assert said(app) == opening(answer)
    assert "lives not seen from their birth on" in paragraphs(app)


def test_what_comes_back_compares_by_what_is_chosen(app, histories):
    app.run()
    goes_to(app, "comes_back")
    assert said(app) == opening(count_callbacks(histories))
    app.selectbox(key="callbacks by").select("vendor").run()
    assert sound(app)


def test_the_log_accounts_for_every_record(app, demo_store):
    app.run()
    goes_to(app, "the_log")
    account = app.dataframe[0].value
    assert (account["records"] == account[["clean", "refused", "duplicate", "blank"]].sum(axis=1)).all()
    assert said(app).startswith(f"{account['records'].sum():,} records were read: {account['refused'].sum()} refused")


def test_a_missing_store_says_which_command_to_run(tmp_path, monkeypatch):
    app = app_on(tmp_path / "nowhere", monkeypatch).run()
    assert not app.exception
    assert app.title[0].value == "Dogdays"
    assert said(app) == "Nothing is loaded yet."
    assert f"dogdays load FOLDER_OR_FILE --store {tmp_path / 'nowhere'}" in app.code[0].value


@pytest.fixture(scope="module")
def thin_store(tmp_path_factory):
    """One unit, one visit: too little for anything."""
    folder = tmp_path_factory.mktemp("thin")
    write_log(folder / "log", visits=[visit("V1", "U1", "2024-07-01", finding="contactor")])
    load_log(folder / "log", Store(folder / "store"), loaded_on=dt.date(2025, 1, 1))
    return folder / "store"


@pytest.mark.parametrize("page", PAGES)
def test_a_log_too_thin_to_answer_still_opens_every_page(thin_store, monkeypatch, page):
    app = app_on(thin_store, monkeypatch).run()
    goes_to(app, page)
    assert sound(app), page
    assert app.title[0].value == PAGES[page]
    assert said(app)


def test_a_new_load_is_seen_at_the_next_rerun(thin_store, tmp_path, monkeypatch):
    shutil.copytree(thin_store, tmp_path / "store")
    app = app_on(tmp_path / "store", monkeypatch).run()
    goes_to(app, "the_log")
    assert said(app).startswith("1 record was read")
    write_log(tmp_path / "more", visits=[visit("V2", "U1", "2024-08-01", finding="wiring")])
    load_log(tmp_path / "more", Store(tmp_path / "store"), loaded_on=dt.date(2025, 1, 1))
    app.run()
    assert said(app).startswith("2 records were read")


def test_text_from_the_log_never_becomes_markup(tmp_path, monkeypatch):
    notes = "![x](http://out.example/a.png) [go](http://out.example) **loud** $x^2$ :red[hot] <b>"
    write_log(tmp_path / "log", visits=[visit("V1", "U1", "2024-07-01", finding="contactor", notes=notes)])
    load_log(tmp_path / "log", Store(tmp_path / "store"), loaded_on=dt.date(2025, 1, 1))
    app = app_on(tmp_path / "store", monkeypatch).run()
    goes_to(app, "one_unit")
    app.selectbox(key="unit").select("U1").run()
    assert sound(app)
    raw = "\n".join(element.value for element in app.markdown)
    assert "](http" not in raw
    assert r"\!\[x\]\(http" in raw
    assert r"\$x\^2\$" in raw
    assert notes in paragraphs(app)


def test_one_session_can_not_change_what_another_sees(demo_store, monkeypatch):
    monkeypatch.setenv(STORE_VARIABLE, str(demo_store))
    data = dashboards.data
    first = data.answer("costs", data.Filters())
    first.table["total"] = 0.0
    assert data.answer("costs", data.Filters()).table["total"].sum() > 0


def test_a_table_travels_as_it_is_shown(app):
    app.run()
    shown = app.dataframe[0].value
    assert isinstance(shown, pd.DataFrame)
    assert pd.read_csv(io.StringIO(shown.to_csv(index=False)))["to_order"].sum() == shown["to_order"].sum()

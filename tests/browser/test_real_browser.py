"""The pages in a real browser, from a real server on this machine: drawn, filtered, downloaded, on a phone, offline."""

import csv
import importlib
import os
import re
import shutil
import socket
import subprocess
import time
import urllib.error
import urllib.request

import pytest

from dashboards.launch import address, command
from fleet.histories.build import build_histories
from fleet.planning.demand import forecast_demand
from fleet.planning.stock import plan_stock
from fleet.present.sentences import opening
from fleet.store.snapshots import Store

NEEDED = os.environ.get("DOGDAYS_NEED_BROWSER") == "1"
playwright = importlib.import_module("playwright.sync_api") if NEEDED else pytest.importorskip("playwright.sync_api")

pytestmark = pytest.mark.browser

BROWSER = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
HOW = "no browser on this machine: install one (Debian: apt-get install chromium), then run pytest -m browser"
FLAGS = (
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync", "--disable-dev-shm-usage",
)  # fmt: skip
PAGES = (
    "",
    "by-building",
    "one-unit",
    "what-keeps-failing",
    "which-kinds-fail-more",
    "how-long-parts-last",
    "capacitors",
    "what-comes-back",
    "what-fails-together",
    "suspect-parts",
    "refrigerant",
    "homes-without-cooling",
    "seasons-and-money",
    "the-log",
)
WITH_CHARTS = (
    "",
    "by-building",
    "what-keeps-failing",
    "which-kinds-fail-more",
    "how-long-parts-last",
    "capacitors",
    "what-comes-back",
    "what-fails-together",
    "suspect-parts",
    "refrigerant",
    "homes-without-cooling",
    "seasons-and-money",
)
PATIENCE_MS = 120_000
PHONE = {"width": 390, "height": 844}
DESK = {"width": 1280, "height": 900}


def free_port():
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        return found.getsockname()[1]


def wait_until_up(url, process, seconds=60):
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        assert process.poll() is None, "the dashboard's server ended at once"
        try:
            with urllib.request.urlopen(f"{url}/_stcore/health", timeout=2) as answer:
                if answer.status == 200:
                    return
        except (urllib.error.URLError, OSError):
            time.sleep(0.3)
    pytest.fail(f"the dashboard at {url} didn't come up in {seconds} s")


@pytest.fixture(scope="session")
def chromium():
    if BROWSER is None:
        if NEEDED:
            pytest.fail(HOW)
        pytest.skip(HOW)
    with playwright.sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=BROWSER, args=list(FLAGS))
        yield browser
        browser.close()


@pytest.fixture(scope="session")
def url(chromium, demo_store, tmp_path_factory):
    """The dashboard, started as the command starts it, on a free port of this machine."""
    port = free_port()
    log = tmp_path_factory.mktemp("server") / "log.txt"
    environment = {name: value for name, value in os.environ.items() if not name.startswith("STREAMLIT_")}
    with log.open("w", encoding="utf-8") as stream:
        process = subprocess.Popen(
            command(demo_store, port), stdout=stream, stderr=stream, cwd=log.parent, env=environment
        )
        try:
            wait_until_up(address(port), process)
            yield address(port)
        finally:
            process.terminate()
            process.wait(timeout=20)


@pytest.fixture
def visit(chromium, url, tmp_path, request):
    """Open a page at a size; afterwards no request may have left this machine, and a failure leaves a picture."""
    context = chromium.new_context(viewport=getattr(request, "param", DESK), accept_downloads=True)
    page = context.new_page()
    page.set_default_timeout(PATIENCE_MS)
    asked = []
    page.on("request", lambda sent: asked.append(sent.url))

    def go(path=""):
        page.goto(f"{url}/{path}")
        page.wait_for_selector("h2")
        settled(page)
        return page

    yield go
    if getattr(request.node, "failed", True):
        page.screenshot(path=tmp_path / "failed.png", full_page=True)
    context.close()
    outside = [one for one in asked if not one.startswith((f"{url}/", "data:", "blob:", url.replace("http", "ws", 1)))]
    assert asked
    assert outside == []


STEADY = """async () => {
    await document.fonts.ready;
    const box = () => JSON.stringify(document.querySelector('h2')?.getBoundingClientRect());
    const before = box();
    await new Promise(done => setTimeout(done, 400));
    return before !== undefined && before === box();
}"""


def settled(page):
    """Wait until the page has run to its end and its sentence no longer moves (the side column slides away)."""
    page.wait_for_selector("[data-testid=stApp][data-test-script-state=notRunning]")
    page.wait_for_function(STEADY)


def choose(page, label, option):
    """Choose from a list as a person does: again, where it closed because charts above it were drawn meanwhile."""
    for _ in range(5):
        try:
            page.get_by_role("combobox", name=re.compile(label)).click(timeout=10_000)
            page.get_by_role("option", name=option).click(timeout=5_000)
        except playwright.Error:
            page.wait_for_timeout(2_000)
        else:
            return
    pytest.fail(f"{option!r} couldn't be chosen under {label!r}")


def sentence(page):
    return page.locator("h2").first.inner_text().replace("\N{NO-BREAK SPACE}", " ")


@pytest.mark.parametrize("path", PAGES)
def test_every_page_is_shown_with_its_charts_and_without_an_error(visit, path):
    page = visit(path)
    assert "can't be shown" not in sentence(page)
    assert page.locator("h1").count() == 1
    assert page.locator("[data-testid=stException]").count() == 0
    if path in WITH_CHARTS:
        chart = page.locator("[data-testid=stVegaLiteChart] canvas, [data-testid=stVegaLiteChart] svg").first
        chart.wait_for(state="visible")
        box = chart.bounding_box()
        assert box["width"] > 200
        assert box["height"] > 60
        assert box["x"] + box["width"] <= DESK["width"]


def test_the_sentence_is_the_plan_s(visit, demo_store):
    histories = build_histories(Store(demo_store))
    said = opening(plan_stock(histories, forecast_demand(histories)).answer)
    histories.close()
    assert sentence(visit()) == said


def test_the_navigation_and_the_filter_work_together(visit):
    page = visit("seasons-and-money")
    whole = sentence(page)
    page.get_by_role("combobox", name=re.compile("Property")).click()
    page.get_by_role("option", name="Tansyfield Commons").click()
    page.wait_for_function(
        "before => ![undefined, before].includes(document.querySelector('h2')?.innerText)", arg=whole
    )
    settled(page)
    here = sentence(page)
    assert here != whole
    page.get_by_role("link", name="By building").click()
    page.wait_for_function("() => document.querySelector('h2')?.innerText.includes('will likely need most')")
    assert sentence(page).startswith("Tansyfield Commons")


def test_the_order_can_be_downloaded_and_read(visit, tmp_path):
    page = visit()
    with page.expect_download() as waiting:
        page.get_by_role("button", name="Download the order").click()
    file = tmp_path / "order.csv"
    waiting.value.save_as(file)
    with file.open(encoding="utf-8", newline="") as stream:
        lines = list(csv.DictReader(stream))
    pieces = sum(int(line["to_order"]) for line in lines if line["component"] != "refrigerant")
    assert f"Order {pieces:,} parts" in sentence(page)
    assert waiting.value.suggested_filename == "order.csv"


@pytest.mark.parametrize("visit", [PHONE], indirect=True, ids=["phone"])
@pytest.mark.parametrize("path", PAGES)
def test_nothing_scrolls_sideways_on_a_phone(visit, path):
    page = visit(path)
    wide = page.evaluate(
        "() => { const main = document.querySelector('[data-testid=stMain]');"
        " return [document.documentElement.scrollWidth, main.scrollWidth, main.clientWidth]; }"
    )
    assert max(wide) <= PHONE["width"], wide


@pytest.mark.parametrize("visit", [PHONE], indirect=True, ids=["phone"])
def test_the_answer_is_above_the_fold_on_a_phone_and_can_be_read(visit):
    page = visit()
    box = page.locator("h2").first.bounding_box()
    assert box["y"] + box["height"] < PHONE["height"] / 2
    assert box["x"] >= 0
    name = page.locator("h1").first.bounding_box()
    header = page.locator("[data-testid=stHeader]").bounding_box()
    assert name["y"] >= header["y"] + header["height"] - 1
    size = page.locator("[data-testid=stMain] [data-testid=stMarkdownContainer] p").first.evaluate(
        "p => getComputedStyle(p).fontSize"
    )
    assert float(size.removesuffix("px")) >= 16
    target = page.get_by_role("button", name="Download the order").bounding_box()
    assert target["height"] >= 44


@pytest.mark.parametrize("visit", [PHONE], indirect=True, ids=["phone"])
def test_a_unit_opened_by_its_link_shows_cautions_before_its_readings(visit, demo_store):
    histories = build_histories(Store(demo_store))
    tag = histories.database.value("select min(equipment_id) from history.reading where sense = 'ok'")
    histories.close()
    page = visit(f"one-unit?unit={tag}")
    assert sentence(page).startswith(f"{tag} has had ")
    parts = page.locator("h3").all_inner_texts()
    order = ["Before you reach in", "Is this reading all right?", "Not looked at yet", "Readings so far"]
    assert [part for part in parts if part in order] == order


@pytest.mark.parametrize("visit", [PHONE], indirect=True, ids=["phone"])
def test_what_fails_together_leads_to_the_suspect_parts_with_a_thumb(visit):
    page = visit("what-fails-together")
    link = page.get_by_role("link", name=re.compile("still carry a suspect part"))
    assert link.bounding_box()["height"] >= 44
    link.click()
    page.wait_for_function("() => document.querySelector('h1')?.innerText === 'Suspect parts'")
    page.get_by_text("Before you reach in").wait_for(state="visible")


def test_every_page_can_be_reached_from_the_side(visit):
    page = visit()
    assert page.locator("[data-testid=stSidebarNavLink]").count() == len(PAGES)


def test_what_keeps_failing_leads_to_the_unit(visit):
    page = visit("what-keeps-failing")
    link = page.get_by_role("link", name=re.compile("Read the whole history of")).first
    tag = link.inner_text().split()[-1]
    link.click()
    page.wait_for_function("tag => document.querySelector('h2')?.innerText.startsWith(tag + ' has had')", arg=tag)


def test_the_curve_of_failures_is_drawn_anew_over_unit_age(visit):
    page = visit("what-keeps-failing")
    curve = page.get_by_text("From the log's first day to")
    curve.wait_for(state="visible")
    settled(page)
    charts = page.locator("[data-testid=stVegaLiteChart]").count()
    choose(page, "Over", "unit age")
    page.get_by_text("By an age of").first.wait_for(state="visible")
    settled(page)
    assert page.locator("[data-testid=stVegaLiteChart]").count() == charts == 3

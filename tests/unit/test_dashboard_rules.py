"""Pages are thin: no query, no sum, no statistics, no threshold of their own; and the start command keeps to itself."""

import ast
import re
from pathlib import Path

import pytest

import dashboards
from dashboards.launch import APP, address, arguments, command
from fleet.present.theme import DARK, LIGHT

FOLDER = Path(dashboards.__file__).parent
PAGES = sorted((FOLDER / "app_pages").glob("*.py"))
PAGE = pytest.mark.parametrize("page", [page for page in PAGES if page.stem != "__init__"], ids=lambda page: page.stem)

FORBIDDEN_IMPORTS = {"duckdb", "scipy", "numpy", "pandas", "altair"}
FORBIDDEN_CALLS = {
    "groupby", "merge", "join", "pivot", "pivot_table", "agg", "aggregate", "apply", "sum", "mean", "median", "std",
    "quantile", "cumsum", "sort_values", "query", "frame_sql", "read_sql", "execute", "eval",
}  # fmt: skip


def tree_of(page):
    return ast.parse(page.read_text(encoding="utf-8"))


def imports_of(tree):
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        if isinstance(node, ast.ImportFrom):
            yield node.module or ""


@PAGE
def test_a_page_imports_no_engine_and_no_analysis(page):
    modules = set(imports_of(tree_of(page)))
    assert not {name.split(".")[0] for name in modules} & FORBIDDEN_IMPORTS
    own = {name for name in modules if name.startswith("fleet.")}
    assert all(name.startswith(("fleet.present.", "fleet.trade.")) for name in own), own


@PAGE
def test_a_page_sums_groups_and_merges_nothing(page):
    called = {
        node.func.attr
        for node in ast.walk(tree_of(page))
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute)
    }
    assert not called & FORBIDDEN_CALLS


@PAGE
def test_a_page_holds_no_threshold(page):
    # comparing with a number is a decision; decisions belong to fleet
    compared = [
        value.value
        for node in ast.walk(tree_of(page))
        if isinstance(node, ast.Compare)
        for value in (node.left, *node.comparators)
        if isinstance(value, ast.Constant)
        and isinstance(value.value, (int, float))
        and not isinstance(value.value, bool)
    ]
    assert compared == []


@PAGE
def test_a_page_is_short_and_says_its_question(page):
    assert len(page.read_text(encoding="utf-8").splitlines()) <= 80
    assert "?" in (ast.get_docstring(tree_of(page)) or "")


@PAGE
def test_a_page_is_in_the_navigation(page):
    assert f'"app_pages/{page.name}"' in (FOLDER / "app.py").read_text(encoding="utf-8")


def test_only_the_data_module_asks_fleet():
    for file in FOLDER.rglob("*.py"):
        if file.name == "data.py":
            continue
        asked = {
            name
            for name in imports_of(tree_of(file))
            if re.match(r"fleet\.(store|ingest|histories|analysis|planning)", name)
        }
        assert not asked, (file.name, asked)


def test_streamlit_is_imported_only_by_the_dashboards():
    root = FOLDER.parent / "fleet"
    users = [
        f.name for f in root.rglob("*.py") if "streamlit" in {name.split(".")[0] for name in imports_of(tree_of(f))}
    ]
    assert users == []


def test_there_is_no_emoji_and_no_counter_row():
    for file in FOLDER.rglob("*.py"):
        text = file.read_text(encoding="utf-8")
        assert not re.search("[\U0001f300-\U0001faff☀-➿]", text), file.name
        assert "st.metric" not in text, file.name


def flags_of(parts):
    before = parts[2 : parts.index("--")]
    return {name.removeprefix("--"): value for name, value in zip(before[::2], before[1::2], strict=True)}


def test_the_server_listens_here_only_and_keeps_to_itself():
    parts = arguments(Path("some where/store"), 8765)
    assert parts[:2] == ["run", str(APP)]
    assert parts[-3:] == ["--", "--store", "some where/store"]
    flags = flags_of(parts)
    assert flags["server.address"] == "127.0.0.1"
    assert flags["server.port"] == "8765"
    assert flags["server.headless"] == "true"
    assert flags["browser.gatherUsageStats"] == "false"
    assert flags["server.fileWatcherType"] == "none"
    assert flags["client.toolbarMode"] == "minimal"


def test_both_themes_travel_with_the_command():
    flags = flags_of(arguments(Path("s"), 1))
    assert flags["theme.light.backgroundColor"] == LIGHT.paper
    assert flags["theme.dark.backgroundColor"] == DARK.paper
    assert flags["theme.light.textColor"] == LIGHT.ink


def test_the_command_runs_this_python_and_the_app_exists():
    assert command(Path("s"), 1)[1:4] == ["-m", "streamlit", "run"]
    assert APP.is_file()
    assert address(8765) == "http://127.0.0.1:8765"

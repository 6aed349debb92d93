"""The shape of the code, held by reading it: who may import whom, sizes, documentation, what is committed."""

import ast
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PACKAGE_FILES = sorted((ROOT / "fleet").rglob("*.py"))
DASHBOARD_FILES = sorted((ROOT / "dashboards").rglob("*.py"))
FILES = PACKAGE_FILES + DASHBOARD_FILES
SQL_FILES = sorted((ROOT / "fleet").rglob("*.sql"))

ORDER = ("trade", "store", "ingest", "histories", "analysis", "planning", "present", "cli")
"""Each layer may import only those before it; the dashboards stand beside the command line."""
SHARED = {"errors", "settings", "answer"}
"""Modules of the package that every layer may import."""

LONGEST_MODULE = 400
LONGEST_SQL = 80


def name_of(file):
    return str(file.relative_to(ROOT))


def parametrized(files):
    return pytest.mark.parametrize("file", files, ids=name_of)


def layer_of(file):
    parts = file.relative_to(ROOT).with_suffix("").parts
    return parts[0] if parts[0] == "dashboards" else parts[1]


def layer_rank(layer):
    # fleet/cli.py and its parts (fleet/cli_*.py, fleet/__main__.py) are one layer
    if layer.startswith("cli") or layer in ("__main__", "dashboards"):
        layer = "cli"
    return ORDER.index(layer) if layer in ORDER else None


def imports_of(file):
    """Return every module a file imports, wherever in the file, with the names taken from it."""
    found = []
    for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found += [(alias.name, ()) for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{name_of(file)} line {node.lineno}: a relative import"
            found.append((node.module, tuple(alias.name for alias in node.names)))
    return found


def fleet_layers(module, names):
    """Return the layers of the package an import reaches into."""
    parts = module.split(".")
    if parts[0] == "dashboards":
        return ["dashboards"]
    if parts[0] != "fleet":
        return []
    return [parts[1]] if len(parts) > 1 else [name for name in names if not name.startswith("__")]


@parametrized(FILES)
def test_each_layer_imports_only_those_before_it(file):
    own = layer_of(file)
    for module, names in imports_of(file):
        for layer in fleet_layers(module, names):
            if layer == own or layer in SHARED:
                continue
            assert own not in SHARED, f"{name_of(file)} may be imported by all, so it may not import fleet.{layer}"
            if own == "__init__":
                continue
            assert layer_rank(own) is not None, f"{name_of(file)} belongs to no layer"
            assert layer_rank(layer) is not None, f"{name_of(file)} imports {module}, which belongs to no layer"
            assert layer_rank(layer) <= layer_rank(own), f"{name_of(file)} imports fleet.{layer}, which comes after it"


@pytest.mark.parametrize(
    ("library", "places"),
    [
        ("duckdb", ("fleet/store/",)),
        ("streamlit", ("dashboards/",)),
        ("altair", ("fleet/present/", "dashboards/")),
    ],
)
def test_a_library_is_used_in_its_place_only(library, places):
    users = [name_of(file) for file in FILES if any(module.split(".")[0] == library for module, _ in imports_of(file))]
    assert users, f"nothing imports {library}: is the search broken?"
    assert [user for user in users if not user.startswith(places)] == []


CLOCKS = {"today", "now", "utcnow"}


@parametrized([file for file in PACKAGE_FILES if layer_rank(layer_of(file)) != ORDER.index("cli")])
def test_no_clock_and_no_unseeded_chance_below_the_command_line(file):
    for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
        if not isinstance(node, ast.Call):
            continue
        called = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
        where = f"{name_of(file)} line {node.lineno}"
        assert called not in CLOCKS, f"{where}: {called}() reads the clock; take the day as an argument"
        if called in ("default_rng", "RandomState", "SeedSequence", "PCG64", "Random"):
            assert node.args or node.keywords, f"{where}: {called}() without a seed"
        if isinstance(node.func, ast.Attribute) and isinstance(node.func.value, ast.Name):
            assert node.func.value.id != "random", f"{where}: random.{called} has no seed of ours"


@parametrized(SQL_FILES)
def test_sql_files_are_short_and_say_what_they_are(file):
    lines = file.read_text(encoding="utf-8").splitlines()
    assert len(lines) <= LONGEST_SQL
    assert lines[0].startswith("-- ")
    assert len(lines[0]) > 20
    assert max(map(len, lines)) <= 150


@parametrized(SQL_FILES)
def test_sql_files_are_run_by_somebody(file):
    stem = file.stem
    package = ROOT / "fleet" / file.relative_to(ROOT).parts[1]
    assert any(f'"{stem}"' in other.read_text(encoding="utf-8") for other in package.rglob("*.py")), "nobody runs it"


@parametrized(FILES)
def test_modules_are_short(file):
    assert len(file.read_text(encoding="utf-8").splitlines()) <= LONGEST_MODULE


@parametrized(FILES)
def test_public_things_are_documented_and_annotated(file):
    tree = ast.parse(file.read_text(encoding="utf-8"))
    assert ast.get_docstring(tree), "the module says nothing of itself"
    for node in _public(tree):
        assert ast.get_docstring(node), f"{node.name} (line {node.lineno}) has no docstring"
        if isinstance(node, ast.FunctionDef):
            assert node.returns is not None, f"{node.name} (line {node.lineno}) doesn't say what it returns"
            placed = [a.arg for a in (*node.args.posonlyargs, *node.args.args) if a.arg not in ("self", "cls")]
            assert len(placed) <= 5, f"{node.name} (line {node.lineno}) takes {len(placed)} arguments by place"


def _public(tree):
    """Yield public functions and classes of a module, and public methods of public classes."""
    for node in tree.body:
        if isinstance(node, (ast.FunctionDef, ast.ClassDef)) and not node.name.startswith("_"):
            yield node
            if isinstance(node, ast.ClassDef):
                yield from (
                    inner
                    for inner in node.body
                    if isinstance(inner, ast.FunctionDef) and not inner.name.startswith("_")
                )


@parametrized(FILES)
def test_no_catch_all_names(file):
    assert not set(file.stem.split("_")) & {"utils", "util", "helpers", "helper", "manager", "misc"}


@parametrized(FILES)
def test_errors_are_our_own(file):
    for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Raise) and isinstance(node.exc, ast.Call):
            name = getattr(node.exc.func, "id", "")
            assert name not in ("Exception", "BaseException", "RuntimeError"), (
                f"line {node.lineno} raises a bare {name}"
            )


def committed():
    """Return the repository's files: what git knows of, and what it would take up."""
    listed = subprocess.run(
        ["git", "ls-files", "--cached", "--others", "--exclude-standard"],
        cwd=ROOT, capture_output=True, text=True, check=False,
    )  # fmt: skip
    if listed.returncode:
        pytest.skip("not a git working copy: the committed files can't be listed")
    return [ROOT / line for line in listed.stdout.splitlines() if (ROOT / line).is_file()]


def test_the_top_level_holds_only_what_is_allowed():
    allowed = {
        "README.md", "DEVELOPERS.md", "pyproject.toml", "LICENSE",
        "fleet", "dashboards", "data_demo", "notebooks", "tests",
    }  # fmt: skip
    top = {file.relative_to(ROOT).parts[0] for file in committed()}
    assert {name for name in top if not name.startswith(".")} <= allowed


# built from pieces, so that this file doesn't hold what it looks for
FORBIDDEN = [
    "/" + "work/", "/" + "root/", "/" + "tmp/",
    "py" + "pi.org", "python" + "hosted.org", "regis" + "try.npmjs", "ana" + "conda.org", "crates" + ".io",
]  # fmt: skip


def test_no_machine_path_and_no_registry_address_is_committed():
    found = []
    for file in committed():
        try:
            text = file.read_text(encoding="utf-8")
        except UnicodeDecodeError:
            continue
        found += [(name_of(file), word) for word in FORBIDDEN if word in text]
    assert found == []


def test_nothing_made_by_running_is_committed():
    made = (".pyc", ".duckdb", ".wal", ".sqlite", ".zst", ".log", ".tmp", ".whl")
    assert [name_of(file) for file in committed() if file.name.endswith(made)] == []


def test_every_layer_is_looked_at():
    # the tests above prove nothing where they find no files
    assert {layer_of(file) for file in FILES} >= {*ORDER, "dashboards"}
    assert {layer_of(file) for file in SQL_FILES} >= {"ingest", "histories", "analysis", "planning"}

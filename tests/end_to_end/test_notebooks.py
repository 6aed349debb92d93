"""Every notebook runs from top to bottom; it is stored without outputs and uses the public functions only."""

import ast
from pathlib import Path

import nbformat
import pytest
from nbclient import NotebookClient

NOTEBOOKS = sorted((Path(__file__).resolve().parents[2] / "notebooks").glob("*.ipynb"))


def code_of(file):
    notebook = nbformat.read(file, as_version=4)
    return [cell for cell in notebook.cells if cell.cell_type == "code"]


def test_there_are_notebooks():
    assert [file.name for file in NOTEBOOKS] == ["a_summer_ahead.ipynb"]


# the notebook machinery warns of its own sockets and event loops; the notebook's own warnings stay in its kernel
@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize("file", NOTEBOOKS, ids=lambda file: file.name)
def test_it_runs(file):
    notebook = nbformat.read(file, as_version=4)
    done = NotebookClient(notebook, timeout=120, kernel_name="python3", resources={"metadata": {"path": file.parent}})
    done.execute()
    printed = [out for cell in notebook.cells if cell.cell_type == "code" for out in cell.outputs]
    said = [out.data["text/markdown"] for out in printed if "text/markdown" in out.get("data", {})]
    assert len(said) >= 4
    assert any("of needs are then met from the shelf" in sentence for sentence in said)
    assert not [out for out in printed if out.output_type == "error"]


@pytest.mark.parametrize("file", NOTEBOOKS, ids=lambda file: file.name)
def test_it_is_stored_without_outputs(file):
    cells = code_of(file)
    assert cells
    assert all(not cell.outputs and cell.execution_count is None for cell in cells)


@pytest.mark.parametrize("file", NOTEBOOKS, ids=lambda file: file.name)
def test_it_uses_public_names_and_defines_no_long_function(file):
    tree = ast.parse("\n".join(cell.source for cell in code_of(file)))
    imported = [
        alias.name for node in ast.walk(tree) if isinstance(node, ast.Import | ast.ImportFrom) for alias in node.names
    ]
    assert not [name for name in imported if name.startswith("_")]
    private = [node.attr for node in ast.walk(tree) if isinstance(node, ast.Attribute) and node.attr.startswith("_")]
    assert private == []
    functions = [node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)]
    assert all(node.end_lineno - node.lineno < 5 for node in functions)


@pytest.mark.parametrize("file", NOTEBOOKS, ids=lambda file: file.name)
def test_its_last_cell_asserts_its_numbers(file):
    last = ast.parse(code_of(file)[-1].source)
    assert sum(isinstance(node, ast.Assert) for node in ast.walk(last)) >= 5

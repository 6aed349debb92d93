"""The README's commands are run, word for word; its picture and links are there."""

import re
import shlex
from pathlib import Path

from click.testing import CliRunner

from fleet.cli import dogdays

ROOT = Path(__file__).resolve().parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")


def commands():
    found = re.findall(r"`(dogdays [^`]+)`", README) + re.findall(r"dogdays ([a-z]+[^#&\n`]*)", README)
    asked = {" ".join(shlex.split(text.removeprefix("dogdays ").strip())) for text in found}
    # these load or serve; loading is tested by itself, serving in the browser tests
    return sorted(text for text in asked if not text.startswith(("load", "dashboard")))


def test_readme_names_the_commands():
    assert "stock --service 0.95" in commands()
    assert any(text.startswith("rates --by model_family") for text in commands())


def test_readme_commands_answer(demo_store):
    for text in commands():
        done = CliRunner().invoke(dogdays, [*shlex.split(text), "--store", str(demo_store.path)])
        assert done.exit_code == 0, (text, done.output[-500:], done.exception)
        assert len(done.output) > 200, text


def test_readme_is_short_and_its_links_lead_somewhere():
    assert len(README.split()) < 600
    for target in re.findall(r"\]\(([^)#]+)\)", README):
        assert (ROOT / target).exists(), target


def test_ci_runs_the_readmes_second_command():
    script = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    lines = [line for line in README.splitlines() if "test.lock" in line]
    assert len(lines) == 1
    assert "grep -m1 'test\\.lock' README.md" in script

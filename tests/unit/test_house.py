"""The house rules a tool can check: lint, format and types hold for everything that is committed."""

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]


@pytest.mark.parametrize(
    "command",
    [
        ["ruff", "check", "--quiet", "."],
        ["ruff", "format", "--check", "--quiet", "."],
        ["mypy", "--no-error-summary"],
    ],
    ids=["lint", "format", "types"],
)
def test_holds(command):
    done = subprocess.run(
        [sys.executable, "-m", *command], cwd=ROOT, capture_output=True, text=True, check=False, timeout=600
    )
    assert done.returncode == 0, done.stdout[-4000:] + done.stderr[-2000:]

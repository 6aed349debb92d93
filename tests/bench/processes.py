"""A measurement's role run in a process of its own, and how much memory it held there."""

from __future__ import annotations

import json
import resource
import subprocess
import sys
import tempfile
from pathlib import Path


def peak_memory_mb() -> float:
    """Return the most memory this process has held: its own, where the system tells it apart from its parent's."""
    status = Path("/proc/self/status")
    if status.exists():
        line = next(line for line in status.read_text().splitlines() if line.startswith("VmHWM:"))
        return int(line.split()[1]) / 1000
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1000


def measured(script: str, role: str, log: Path) -> dict[str, float]:
    """Run one role of a bench ``script`` in a process of its own and return what it measured."""
    with tempfile.TemporaryDirectory(dir=log.parent) as scratch:
        command = [sys.executable, script, "--role", role, "--log", str(log), "--scratch", scratch]
        done = subprocess.run(command, check=True, capture_output=True, text=True)
    return dict(json.loads(done.stdout.splitlines()[-1]))

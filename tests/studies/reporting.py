"""What every study prints: a line for each target, reached beside asked, and how long it took."""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass

ITEM, TARGET, NAIVE = 82, 14, 16
"""Widths of the columns of text."""


@dataclass(frozen=True)
class Line:
    """One line of a study's report."""

    item: str
    reached: float
    error: float
    target: str
    naive: str
    met: bool

    def __str__(self) -> str:
        word = ("met" if self.met else "MISSED") if self.target else ""
        return (
            f"{self.item:<{ITEM}}{self.reached:>9.3f} ± {self.error:<7.3f}{self.target:>{TARGET}}{self.naive:>{NAIVE}}"
            f"  {word}"
        )


def say(line: object) -> None:
    """Write a line at once, so that a long study shows how far it is."""
    sys.stdout.write(f"{line}\n")
    sys.stdout.flush()


def print_study(doc: str, run_study: Callable[[int, int], Iterable[Line]], *, seed: int) -> None:
    """Run a study as its command line asks, and print it; ``doc`` is the study's own docstring."""
    parser = argparse.ArgumentParser(description=doc.splitlines()[0])
    parser.add_argument("--replicates", type=int, default=200)
    parser.add_argument("--seed", type=int, default=seed)
    asked = parser.parse_args()
    began = time.perf_counter()
    say(f"{'':<{ITEM}}{'reached':>9}   {'':<7}{'target':>{TARGET}}{'naive':>{NAIVE}}")
    for line in run_study(asked.replicates, asked.seed):
        say(line)
    say(f"{asked.replicates} replicates in {time.perf_counter() - began:.0f} s")

"""The commands about what comes back and what fails together: repeats, and new parts that are bad."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from fleet.cli_options import answering, known_histories, leveled, show

if TYPE_CHECKING:
    from collections.abc import Callable

    from fleet.answer import Answer
    from fleet.histories.build import Histories

IN_TURN = ("callbacks", "units", "clusters", "lots")
"""What ``repeats`` prints when nothing is chosen."""

CHOICES = (*IN_TURN, "runs", "chains", "months", "watch", "power", "suspects", "claims")


@click.command()
@click.option("--only", type=click.Choice(CHOICES), help="Keep one; those after lots are given only so.")
@click.option("--window", type=click.IntRange(1, 730),
              help="Days a call-back (default 30) or the next failure of a chain (default 180) may take.")  # fmt: skip
@click.option("--ratio", type=click.FloatRange(1, 60, min_open=True), default=3.0, show_default=True,
              help="With power: how many times the usual a heap brings.")  # fmt: skip
@click.option("--weeks", type=click.IntRange(1, 52), default=13, show_default=True,
              help="With power: how many weeks it lasts.")  # fmt: skip
@leveled
@answering
def repeats(only: str | None, window: int | None, ratio: float, weeks: int, level: float, **shared: Any) -> None:  # noqa: ANN401
    """Show what comes back: call-backs, units that keep failing, clusters in building and time, part lots.

    With --only also: runs (of call-backs, unit by unit), chains (which failure follows which), months (building by
    month against season and age), watch (is something failing in a heap now?), power (what heaps could be seen here),
    suspects (parts of bad lots still in service), claims (what the maker may still owe).
    """
    within = {} if window is None else {"window_days": window}
    asks = _asks(level, within, {"ratio": ratio, "weeks": weeks})
    with known_histories(shared) as known:
        show([asks[name](known) for name in ([only] if only else IN_TURN)], shared)


def _asks(level: float, within: dict[str, int], heap: dict[str, Any]) -> dict[str, Callable[[Histories], Answer]]:
    from fleet.analysis.callbacks import count_callbacks
    from fleet.analysis.cause_chains import find_cause_chains
    from fleet.analysis.cluster_power import weigh_scan
    from fleet.analysis.cluster_watch import watch_clusters
    from fleet.analysis.clusters import scan_clusters
    from fleet.analysis.lots import screen_lots
    from fleet.analysis.months import compare_months
    from fleet.analysis.suspect_lots import list_claims, list_suspect_parts
    from fleet.analysis.units import find_failing_units
    from fleet.present.chain_lines import list_callback_runs

    return {
        "callbacks": lambda known: count_callbacks(known, level=level, **within),
        "units": lambda known: find_failing_units(known, level=level),
        "clusters": scan_clusters,
        "lots": screen_lots,
        "runs": lambda known: list_callback_runs(known, **within),
        "chains": lambda known: find_cause_chains(known, level=level, **within),
        "months": compare_months,
        "watch": watch_clusters,
        "power": lambda known: weigh_scan(known, **heap),
        "suspects": list_suspect_parts,
        "claims": list_claims,
    }


@click.command(name="new-parts")
@click.option("--limit", "limit_share", type=click.FloatRange(0, 1, min_open=True, max_open=True), default=0.05,
              show_default=True, help="Share bad below which a part number or lot is trusted.")  # fmt: skip
@click.option("--tolerance", "tolerance_pct", type=click.FloatRange(0, 100, min_open=True, max_open=True),
              metavar="PCT", help="Judge every run capacitor by it (default: as marked for the unit).")  # fmt: skip
@leveled
@answering
def new_parts(limit_share: float, tolerance_pct: float | None, level: float, **shared: Any) -> None:  # noqa: ANN401
    """Say what share of new parts was bad when tested before fitting, and how many tests earn a lot trust."""
    from fleet.analysis.new_parts import count_bad_new_parts

    with known_histories(shared) as known:
        show(
            [count_bad_new_parts(known, level=level, limit_share=limit_share, tolerance_pct=tolerance_pct)],
            shared,
        )


COMING_BACK_COMMANDS = (repeats, new_parts)
"""Commands of this module, for the group."""

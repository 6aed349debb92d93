"""The command about how long parts last."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from fleet.cli_options import answering, columns_of, known_histories, leveled, show, take_shared

if TYPE_CHECKING:
    from collections.abc import Callable

    from fleet.answer import Answer
    from fleet.histories.build import Histories


@click.command()
@click.option("--by", help="Equipment columns, part_no or lot to group by, comma between.")
@click.option("--component", help="Keep one component.")
@click.option("--curve", is_flag=True, help="Print one component's share still working by age, laws beside it.")
@click.option("--ends", is_flag=True, help="Print what share of one component's parts each cause ends.")
@click.option("--compare", is_flag=True, help="Print how many times as long parts last from group to group of --by.")
@click.option("--against", help="With --compare: the group the others are compared with (default: all others).")
@click.option("--ending", type=click.Choice(["failed", "failed or weak", "failed, weak ignored", "all"]),
              default="failed", show_default=True, help="What ends a life; all: a set of rows each.")  # fmt: skip
@click.option("--births", type=click.Choice(["any", "in the log"]), default="any", show_default=True,
              help="Use every life, or only those the log saw begin.")  # fmt: skip
@click.option("--look-ahead", type=click.FloatRange(0, 100, min_open=True), default=1.0, show_default=True,
              help="Years a part changed as weak is taken to have had left at most.")  # fmt: skip
@click.option("--pooling", type=click.Choice(["partial", "none"]), default="partial", show_default=True,
              help="Let a component's groups lean on each other as far as they are alike, or not.")  # fmt: skip
@click.option("--interval", type=click.Choice(["likelihood", "bootstrap"]), default="likelihood", show_default=True,
              help="What limits come from.")  # fmt: skip
@click.option("--seed", type=int, default=0, show_default=True, help="What the bootstrap is drawn by.")
@leveled
@answering
def life(curve: bool, ends: bool, compare: bool, **options: Any) -> None:  # noqa: ANN401
    """Estimate how long parts last, by component and any equipment column, part number or lot."""
    shared = take_shared(options)
    component, by = options.pop("component"), columns_of(options.pop("by"))
    if (curve or ends) and not component:
        msg = "a curve, and what ends lives, is of one component: name it with --component"
        raise click.UsageError(msg)
    if compare and not by:
        msg = "lives are compared between groups: name what they are grouped by with --by"
        raise click.UsageError(msg)
    asks = _asks(component, {"by": by, "look_ahead_years": options.pop("look_ahead"), **options})
    wanted = [name for name, asked in (("curve", curve), ("ends", ends), ("compare", compare)) if asked]
    with known_histories(shared) as known:
        show([asks[name](known) for name in wanted or ["life"]], shared)


def _asks(component: str | None, asked: dict[str, Any]) -> dict[str, Callable[[Histories], Answer]]:
    from fleet.analysis.life import estimate_life
    from fleet.analysis.life_compare import compare_lives
    from fleet.analysis.life_curve import split_life_ends, trace_life_curve

    limits = {name: asked.pop(name) for name in ("interval", "seed")}
    against = asked.pop("against")
    unpooled = {name: value for name, value in asked.items() if name != "pooling"}
    return {
        "life": lambda known: estimate_life(known, component=component, **asked, **limits),
        "curve": lambda known: trace_life_curve(known, component or "", **asked),
        "ends": lambda known: split_life_ends(known, component or "", by=asked["by"]),
        "compare": lambda known: compare_lives(known, component=component, against=against, **unpooled),
    }


LIFE_COMMANDS = (life,)

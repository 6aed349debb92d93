"""The commands about heat on people and about refrigerant: hours without cooling, parts waited for, pounds by unit."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from fleet.cli_options import answering, columns_of, known_histories, leveled, show

if TYPE_CHECKING:
    from collections.abc import Callable

    from fleet.answer import Answer
    from fleet.histories.build import Histories


@click.command()
@click.option("--order", is_flag=True, help="Pounds of each refrigerant the next 12 months will take, instead.")
@click.option("--repeated", type=click.IntRange(2, 100), default=3, show_default=True,
              help="So many top-ups without a part of the circuit fitted in between name a unit.")  # fmt: skip
@click.option("--seed", type=click.IntRange(0), default=1, show_default=True, help="With --order: seed of the draws.")
@leveled
@answering
def refrigerant(order: bool, repeated: int, seed: int, level: float, **shared: Any) -> None:  # noqa: ANN401
    """Track refrigerant by unit: ounces a year, leak indicators, repeated top-ups. An indicator, not compliance."""
    from fleet.analysis.refrigerant_order import forecast_refrigerant
    from fleet.analysis.refrigerant_use import track_refrigerant

    with known_histories(shared) as known:
        if order:
            show([forecast_refrigerant(known, level=level, seed=seed)], shared)
        else:
            show([track_refrigerant(known, level=level, repeated=repeated)], shared)


@click.command()
@click.option("--by", help="Group by property, building, month, year, call_type or component, comma between.")
@click.option("--parts", is_flag=True, help="Which parts homes waited for, instead.")
@click.option("--homes", is_flag=True, help="Every home with its hours, priority homes first, instead.")
@leveled
@answering
def waits(by: str | None, parts: bool, homes: bool, level: float, **shared: Any) -> None:  # noqa: ANN401
    """Say how long homes go without cooling and how hot they are found, priority homes set apart."""
    from fleet.analysis.home_waits import list_home_waits
    from fleet.analysis.part_waits import count_part_waits
    from fleet.analysis.waits import measure_waits

    if by and (parts or homes):
        msg = "--by groups the waits themselves: leave it out with --parts and --homes"
        raise click.UsageError(msg)
    answers: list[Callable[[Histories], Answer]] = []
    if parts:
        answers.append(lambda known: count_part_waits(known, level=level))
    if homes:
        answers.append(list_home_waits)
    with known_histories(shared) as known:
        show([ask(known) for ask in answers] or [measure_waits(known, by=columns_of(by), level=level)], shared)


PEOPLE_COMMANDS = (refrigerant, waits)
"""Commands of this module, for the group."""

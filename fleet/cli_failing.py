"""The commands about what keeps failing: repeated events, causes to look for, one unit's history."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from fleet.cli_options import answering, known_histories, leveled, put, show

if TYPE_CHECKING:
    from collections.abc import Callable

    from fleet.answer import Answer
    from fleet.histories.build import Histories


@click.command()
@click.option("--component", help="Keep one component.")
@click.option("--clock", type=click.Choice(["calendar", "age"]), default="calendar", show_default=True,
              help="Whether the curve runs over dates or over unit age.")  # fmt: skip
@click.option("--trends", is_flag=True, help="Every component's trend instead of the curve: who fails more each year?")
@leveled
@answering
def recurrence(component: str | None, clock: str, trends: bool, level: float, **shared: Any) -> None:  # noqa: ANN401
    """Show how many failures a unit has had by each date or age, and whether they grow more frequent."""
    from fleet.analysis.failure_trends import compare_trends
    from fleet.analysis.repeated_events import describe_recurrence

    if trends and component:
        msg = "trends are told only after all components were looked at: leave out --component or --trends"
        raise click.UsageError(msg)
    with known_histories(shared) as known:
        if trends:
            show([compare_trends(known, level=level)], shared)
        else:
            show([describe_recurrence(known, component=component, clock=clock, level=level)], shared)  # type: ignore[arg-type]


@click.command()
@click.argument("tags", nargs=-1, required=True, metavar="TAG...")
@answering
def causes(tags: tuple[str, ...], **shared: Any) -> None:  # noqa: ANN401
    """Say what may be behind the repeats of a unit (or several) that nobody has looked at yet."""
    from fleet.analysis.causes import look_for_causes

    with known_histories(shared) as known:
        show([look_for_causes(known, tags)], shared)


@click.command()
@click.argument("tag")
@click.option("--section", type=click.Choice(["herm", "fan", "start"]), help="Section the reading in hand is of.")
@click.option("--reading", type=click.FloatRange(0), help="The reading in hand, microfarads: leave or change?")
@answering
def unit(tag: str, section: str | None, reading: float | None, **shared: Any) -> None:  # noqa: ANN401
    """Show one unit: its visits, its readings with what they mean, and where nobody has looked yet."""
    from fleet.analysis.causes import look_for_causes
    from fleet.present.unit_answers import list_unit_readings, list_unit_visits
    from fleet.present.unit_text import unit_text

    if (section is None) != (reading is None):
        msg = "a reading in hand needs both --section and --reading"
        raise click.UsageError(msg)
    asks: list[Callable[[Histories, str], Answer]] = [list_unit_visits, list_unit_readings, look_for_causes]
    with known_histories(shared) as known:
        if shared["form"] == "table":
            put(unit_text(known, tag, section=section or "", reading_uf=reading), shared["out"])
        elif reading is None:
            show([ask(known, tag) for ask in asks], shared)
        else:
            msg = "a reading in hand is judged in words: leave out --format"
            raise click.UsageError(msg)


FAILING_COMMANDS = (recurrence, causes, unit)
"""Commands of this module, for the group."""

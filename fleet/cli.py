"""The ``dogdays`` command: parse, call one public function, print or write its answer.

Exit codes: 0 done; 1 a known failure, told in one line; 2 the command line makes no sense; 3 with ``--strict`` when
records were refused. What a command prints as a table, ``--format csv|json`` gives exactly and ``--out`` writes.
"""

from __future__ import annotations

import datetime as dt
import os
import sys
from typing import TYPE_CHECKING, Any

import click

from fleet import __version__
from fleet.cli_coming_back import COMING_BACK_COMMANDS
from fleet.cli_failing import FAILING_COMMANDS
from fleet.cli_life import LIFE_COMMANDS
from fleet.cli_log import LOG_COMMANDS
from fleet.cli_options import (
    DAY,
    F,
    answering,
    called_as,
    columns_of,
    day_of,
    known_histories,
    leveled,
    put,
    show,
    stored,
    take_shared,
)
from fleet.cli_people import PEOPLE_COMMANDS
from fleet.errors import FleetError
from fleet.settings import STORE_FOLDER

if TYPE_CHECKING:
    from pathlib import Path

    from fleet.histories.build import Histories
    from fleet.planning.demand import DemandForecast


def main() -> None:
    """Run the command line; known failures end in one line and exit code 1."""
    try:
        dogdays.main(standalone_mode=False)
    except click.ClickException as error:
        error.show()
        sys.exit(error.exit_code)
    except click.Abort:
        click.echo("dogdays: stopped", err=True)
        sys.exit(130)
    except FleetError as error:
        click.echo(f"dogdays: {error}", err=True)
        sys.exit(1)
    except Exception as error:
        # the last resort: whoever loads a log gets a sentence, whoever mends the program asks for the trace
        if os.environ.get("DOGDAYS_TRACE"):
            raise
        said = str(error).splitlines()[0] if str(error) else "no message"
        click.echo(f"dogdays: unexpected {type(error).__name__} ({said}); DOGDAYS_TRACE=1 shows where", err=True)
        sys.exit(1)


@click.group(context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(__version__, prog_name="dogdays")
def dogdays() -> None:
    """Memory and summer plan for a fleet of small apartment air conditioners."""


for _command in (*LOG_COMMANDS, *FAILING_COMMANDS, *LIFE_COMMANDS, *COMING_BACK_COMMANDS, *PEOPLE_COMMANDS):
    dogdays.add_command(_command)


@dogdays.command()
@click.option("--what", type=click.Choice(["summary", "spells", "failures"]), default="summary", show_default=True)
@answering
def histories(what: str, **shared: Any) -> None:  # noqa: ANN401
    """Show who was in service when: time at risk, lives of parts, failures."""
    from fleet.histories.summary import list_failures, list_spells, summarise_histories

    ask = {"summary": summarise_histories, "spells": list_spells, "failures": list_failures}[what]
    with known_histories(shared) as known:
        show([ask(known)], shared)


@dogdays.command()
@click.option("--by", help="Equipment columns to group by, comma between (or age_band).")
@click.option("--against", help="Value of the grouping column that ratios are taken to (default: all units outside).")
@click.option("--component", help="Keep one component.")
@click.option("--interval", type=click.Choice(["exact", "mid-p"]), default="exact", show_default=True,
              help="Never covers less than the level, or covers it on average and is shorter.")  # fmt: skip
@click.option("--clock", type=click.Choice(["calendar", "heat"]), default="calendar", show_default=True,
              help="Time at risk by the calendar, or weighed by each day's heat.")  # fmt: skip
@leveled
@answering
def rates(by: str | None, **options: Any) -> None:  # noqa: ANN401
    """Estimate failures per unit-year by component and any equipment column."""
    from fleet.analysis.rates import estimate_rates

    shared = take_shared(options)
    with known_histories(shared) as known:
        show([estimate_rates(known, by=columns_of(by), **options)], shared)


@dogdays.command()
@click.option("--slopes", is_flag=True, help="Slopes by family and section instead of each unit's sections.")
@leveled
@answering
def drift(slopes: bool, level: float, **shared: Any) -> None:  # noqa: ANN401
    """Estimate capacitor drift: each section's true state, its slope and the day it leaves tolerance."""
    from fleet.analysis.drift import estimate_drift
    from fleet.analysis.drift_slopes import drift_slopes

    with known_histories(shared) as known:
        show([drift_slopes(known, level=level) if slopes else estimate_drift(known, level=level)], shared)


@dogdays.command()
@leveled
@answering
def meters(level: float, **shared: Any) -> None:  # noqa: ANN401
    """Find which meter reads high or low against the average of the meters."""
    from fleet.analysis.meters import estimate_meters

    with known_histories(shared) as known:
        show([estimate_meters(known, level=level)], shared)


@dogdays.command()
@answering
def seasons(**shared: Any) -> None:  # noqa: ANN401
    """Describe how calls follow heat, month by month; nights, hours without cooling, priority homes."""
    from fleet.analysis.seasons import describe_seasons

    with known_histories(shared) as known:
        show([describe_seasons(known)], shared)


@dogdays.command()
@answering
def costs(**shared: Any) -> None:  # noqa: ANN401
    """Count recorded money by month, building and cause; reconciles to the log to the cent."""
    from fleet.analysis.costs import count_costs

    with known_histories(shared) as known:
        show([count_costs(known)], shared)


def seasonal(command: F) -> F:
    """Add the options that say which season is planned for."""
    for option in reversed(
        [
            click.option("--from", "from_date", type=DAY, help="First day of the season (default: the next 1 April)."),
            click.option("--to", "to_date", type=DAY, help="Last day of the season (default: 30 September)."),
            click.option("--summer", type=click.Choice(["any", "hot", "normal", "mild"]), default="any",
                         show_default=True, help="Which summers of the weather record to draw from."),
        ]
    ):  # fmt: skip
        command = option(command)
    return command


@dogdays.command()
@seasonal
@answering
def demand(from_date: dt.datetime | None, to_date: dt.datetime | None, summer: str, **shared: Any) -> None:  # noqa: ANN401
    """Forecast the parts needed in a season by building and part number, as a distribution."""
    with known_histories(shared) as known:
        show([_demand(known, from_date, to_date, summer).answer], shared)


@dogdays.command()
@seasonal
@click.option("--service", type=click.FloatRange(0, 1, min_open=True, max_open=True),
              help="Floor: share of part needs met from the shelf, whole fleet.")  # fmt: skip
@click.option("--budget", type=click.FloatRange(0), help="Cap on the money of the order.")
@click.option(
    "--leftover-share", type=float, default=0.20, show_default=True, help="Cost of an unused part, of its price."
)
@click.option("--shortage-cost", type=float, default=60.0, show_default=True, help="Cost of a missing part, money.")
@click.option("--shortage-share", type=float, default=0.25, show_default=True, help="And of its price on top.")
@click.option("--shelves", type=click.Choice(["building", "shop"]), default="building", show_default=True)
@click.option("--restock", type=click.Choice(["once", "refill"]), default="once", show_default=True)
@answering
def stock(from_date: dt.datetime | None, to_date: dt.datetime | None, summer: str, **options: Any) -> None:  # noqa: ANN401
    """Plan what to order and where to put it, for a service or a budget, less what stands there."""
    from fleet.planning.stock import StockSettings, plan_stock
    from fleet.present.order_text import order_text

    shared = take_shared(options)
    with known_histories(shared) as known:
        plan = plan_stock(known, _demand(known, from_date, to_date, summer), StockSettings(**options))
        if shared["form"] != "table":
            show([plan.answer], shared)
            return
        where = "" if str(shared["store_path"]) == STORE_FOLDER else f" --store {shared['store_path']}"
        put(
            f"{order_text(plan)}\n\nThe dashboard, with the why of each line: {called_as()} dashboard{where}",
            shared["out"],
        )


@dogdays.command()
@click.option("--port", type=click.IntRange(1024, 65535), default=8599, show_default=True)
@stored
def dashboard(port: int, store_path: Path) -> None:
    """Open the dashboard; it listens on this machine only and fetches nothing."""
    import subprocess

    from dashboards.launch import address, command
    from fleet.store.snapshots import Store

    Store(store_path).data_version()
    click.echo(f"The dashboard is at {address(port)} (stop it with Ctrl-C).")
    sys.exit(subprocess.run(command(store_path.resolve(), port), check=False).returncode)


def _demand(
    known: Histories, from_date: dt.datetime | None, to_date: dt.datetime | None, summer: str
) -> DemandForecast:
    from fleet.planning.demand import forecast_demand

    return forecast_demand(known, from_date=day_of(from_date), to_date=day_of(to_date), summer=summer)  # type: ignore[arg-type]


if __name__ == "__main__":
    main()

"""The ``dogdays`` command: parse, call one public function, print or write its answer.

Exit codes: 0 done; 1 a known failure, told in one line; 2 the command line makes no sense; 3 with ``--strict`` when
records were refused. What a command prints as a table, ``--format csv|json`` gives exactly and ``--out`` writes.
"""

from __future__ import annotations

import datetime as dt
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from fleet import __version__
from fleet.errors import FleetError
from fleet.settings import CHAIN_DAYS, LEVEL, STORE_FOLDER

if TYPE_CHECKING:
    from fleet.answer import Answer
    from fleet.histories.build import Histories
    from fleet.planning.demand import DemandForecast

F = TypeVar("F", bound=Callable[..., Any])

DAY = click.DateTime(formats=["%Y-%m-%d"])
ROWS_SHOWN = 60
"""A table for the eye stops here and says how many rows more CSV and JSON have."""

FORMATS = click.Choice(["table", "csv", "json"])


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


@click.group(context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(__version__, prog_name="dogdays")
def dogdays() -> None:
    """Memory and summer plan for a fleet of small apartment air conditioners."""


def stored(command: F) -> F:
    """Add the option that names the store."""
    return click.option(
        "--store", "store_path", type=click.Path(path_type=Path, file_okay=False), default=STORE_FOLDER,
        show_default=True, envvar="DOGDAYS_STORE", help="Folder of the store.",
    )(command)  # fmt: skip


def answering(command: F) -> F:
    """Add the options every answer shares."""
    for option in reversed(
        [
            click.option("--as-of", type=DAY, help="Read the log as known that day (default: the log's last day)."),
            click.option("--chain-days", type=click.IntRange(1, 365), default=CHAIN_DAYS, show_default=True,
                         help="A further visit for the same fault within so many days belongs to it."),
            click.option("--format", "form", type=FORMATS, default="table", show_default=True),
            click.option("--out", type=click.Path(path_type=Path, dir_okay=False), help="Write to this file."),
        ]
    ):  # fmt: skip
        command = option(command)
    return stored(command)


def leveled(command: F) -> F:
    """Add the option that sets the level of intervals."""
    return click.option("--level", type=click.FloatRange(0.5, 0.999), default=LEVEL, show_default=True,
                        help="Two-sided level of intervals.")(command)  # fmt: skip


@dogdays.command()
@click.argument("log", type=click.Path(path_type=Path))
@click.option(
    "--dates", type=click.Choice(["mdy", "dmy"]), help="Order of day and month where the log doesn't settle it."
)
@click.option("--as-of", type=DAY, help="Visits reported after this day are refused as future (default: today).")
@click.option("--strict", is_flag=True, help="Exit with code 3 when records were refused.")
@stored
def load(log: Path, dates: str | None, as_of: dt.datetime | None, strict: bool, store_path: Path) -> None:
    """Load a service log: a folder of CSV files, one CSV file or one SQLite file."""
    from fleet.ingest.load import LoadOptions, load_log
    from fleet.present.load_text import load_text
    from fleet.store.snapshots import Store

    with _progress() as progress:
        report = load_log(
            log, Store(store_path), loaded_on=_today(),
            options=LoadOptions(dates=dates, as_of=_date(as_of)), progress=progress,
        )  # fmt: skip
    click.echo(load_text(report, str(store_path), command=_called_as()))
    if strict and report.n_quarantined:
        sys.exit(3)


@dogdays.command()
@stored
def rebuild(store_path: Path) -> None:
    """Build everything again from the kept sources; the answers stay the same."""
    from fleet.ingest.load import rebuild as rebuild_store
    from fleet.present.load_text import load_text
    from fleet.store.snapshots import Store

    with _progress() as progress:
        report = rebuild_store(Store(store_path), progress=progress)
    click.echo(load_text(report, str(store_path), command=_called_as()))


@dogdays.command()
@click.option("--what", type=click.Choice(["quarantined", "duplicate", "blank", "notices"]), default="quarantined",
              show_default=True, help="Records refused, doubled, blank, or kept with a change.")  # fmt: skip
@click.option("--format", "form", type=FORMATS, default="table", show_default=True)
@click.option("--out", type=click.Path(path_type=Path, dir_okay=False), help="Write to this file.")
@stored
def records(what: str, form: str, out: Path | None, store_path: Path) -> None:
    """List the records that were refused, doubled, blank or changed, each with its file, number and reason."""
    from fleet.ingest.report import notice_frame, records_frame
    from fleet.present.export import as_csv, as_json
    from fleet.present.tables import table_text
    from fleet.store.snapshots import Store

    with Store(store_path).open() as database:
        frame = notice_frame(database) if what == "notices" else records_frame(database, what)
    writers = {"csv": as_csv, "json": as_json, "table": table_text}
    _put(writers[form](frame), out)


@dogdays.command()
@click.option("--what", type=click.Choice(["summary", "spells", "failures"]), default="summary", show_default=True)
@answering
def histories(what: str, **shared: Any) -> None:  # noqa: ANN401
    """Show who was in service when: time at risk, lives of parts, failures."""
    from fleet.histories.summary import list_failures, list_spells, summarise_histories

    ask = {"summary": summarise_histories, "spells": list_spells, "failures": list_failures}[what]
    with _histories(shared) as known:
        _show([ask(known)], shared)


@dogdays.command()
@click.option("--by", help="Equipment columns to group by, comma between (or age_band).")
@click.option("--against", help="Value of the grouping column that ratios are taken to (default: all units outside).")
@click.option("--component", help="Keep one component.")
@leveled
@answering
def rates(by: str | None, against: str | None, component: str | None, level: float, **shared: Any) -> None:  # noqa: ANN401
    """Estimate failures per unit-year by component and any equipment column."""
    from fleet.analysis.rates import estimate_rates

    columns = [name.strip() for name in by.split(",") if name.strip()] if by else []
    with _histories(shared) as known:
        _show([estimate_rates(known, by=columns, against=against, component=component, level=level)], shared)


@dogdays.command()
@click.option("--slopes", is_flag=True, help="Slopes by family and section instead of each unit's sections.")
@leveled
@answering
def drift(slopes: bool, level: float, **shared: Any) -> None:  # noqa: ANN401
    """Estimate capacitor drift: each section's true state, its slope and the day it leaves tolerance."""
    from fleet.analysis.drift import estimate_drift
    from fleet.analysis.drift_slopes import drift_slopes

    with _histories(shared) as known:
        _show([drift_slopes(known, level=level) if slopes else estimate_drift(known, level=level)], shared)


@dogdays.command()
@leveled
@answering
def meters(level: float, **shared: Any) -> None:  # noqa: ANN401
    """Find which meter reads high or low against the average of the meters."""
    from fleet.analysis.meters import estimate_meters

    with _histories(shared) as known:
        _show([estimate_meters(known, level=level)], shared)


@dogdays.command()
@click.option(
    "--only",
    type=click.Choice(["callbacks", "units", "clusters", "lots", "months"]),
    help="Keep one; months (building by month against season and age) only so.",
)
@click.option("--window", type=click.IntRange(1, 365), default=30, show_default=True, help="Days a call-back has.")
@leveled
@answering
def repeats(only: str | None, window: int, level: float, **shared: Any) -> None:  # noqa: ANN401
    """Show what comes back: call-backs, units that keep failing, clusters in building and time, part lots."""
    from fleet.analysis.callbacks import count_callbacks
    from fleet.analysis.clusters import scan_clusters
    from fleet.analysis.lots import screen_lots
    from fleet.analysis.months import compare_months
    from fleet.analysis.units import find_failing_units

    asks: dict[str, Callable[[Histories], Answer]] = {
        "callbacks": lambda known: count_callbacks(known, level=level, window_days=window),
        "units": lambda known: find_failing_units(known, level=level),
        "clusters": scan_clusters,
        "lots": screen_lots,
        "months": compare_months,
    }
    with _histories(shared) as known:
        asked = [only] if only else [name for name in asks if name != "months"]
        _show([asks[name](known) for name in asked], shared)


@dogdays.command()
@answering
def seasons(**shared: Any) -> None:  # noqa: ANN401
    """Describe how calls follow heat, month by month; nights, hours without cooling, priority homes."""
    from fleet.analysis.seasons import describe_seasons

    with _histories(shared) as known:
        _show([describe_seasons(known)], shared)


@dogdays.command()
@answering
def costs(**shared: Any) -> None:  # noqa: ANN401
    """Count recorded money by month, building and cause; reconciles to the log to the cent."""
    from fleet.analysis.costs import count_costs

    with _histories(shared) as known:
        _show([count_costs(known)], shared)


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
    with _histories(shared) as known:
        _show([_demand(known, from_date, to_date, summer).answer], shared)


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

    shared = {name: options.pop(name) for name in ("as_of", "chain_days", "form", "out", "store_path")}
    with _histories(shared) as known:
        plan = plan_stock(known, _demand(known, from_date, to_date, summer), StockSettings(**options))
        if shared["form"] != "table":
            _show([plan.answer], shared)
            return
        where = "" if str(shared["store_path"]) == STORE_FOLDER else f" --store {shared['store_path']}"
        _put(
            f"{order_text(plan)}\n\nThe dashboard, with the why of each line: {_called_as()} dashboard{where}",
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

    return forecast_demand(known, from_date=_date(from_date), to_date=_date(to_date), summer=summer)  # type: ignore[arg-type]


@contextmanager
def _histories(shared: dict[str, Any]) -> Iterator[Histories]:
    from fleet.histories.build import build_histories
    from fleet.store.snapshots import Store

    with _progress() as progress:
        progress("working out the histories")
        known = build_histories(
            Store(shared["store_path"]), as_of=_date(shared["as_of"]), chain_days=shared["chain_days"]
        )
    try:
        yield known
    finally:
        known.close()


def _show(answers: Sequence[Answer], shared: dict[str, Any]) -> None:
    from fleet.present.export import as_csv, as_json
    from fleet.present.tables import as_text

    if shared["form"] == "csv":
        text = "\n".join(as_csv(answer) for answer in answers)
    elif shared["form"] == "json":
        text = as_json(answers[0]) if len(answers) == 1 else "[" + ",\n".join(as_json(a) for a in answers) + "]"
    else:
        text = "\n\n".join(as_text(answer, limit=ROWS_SHOWN) for answer in answers)
    _put(text, shared["out"])


def _put(text: str, out: Path | None) -> None:
    if out is None:
        click.echo(text.rstrip("\n"))
        return
    out.write_text(text if text.endswith("\n") else text + "\n", encoding="utf-8")
    click.echo(f"written to {out}")


@contextmanager
def _progress() -> Iterator[Callable[[str], None]]:
    """Show what is being done on a terminal; stay silent elsewhere."""
    if not sys.stderr.isatty():
        yield lambda _: None
        return
    from rich.console import Console

    with Console(stderr=True).status("…") as status:
        yield lambda said: status.update(said)


def _date(value: dt.datetime | None) -> dt.date | None:
    return value.date() if value else None


def _called_as() -> str:
    """Return how the reader called this command, so that what is suggested can be pasted."""
    called = Path(sys.argv[0])
    return sys.argv[0] if called.name == "dogdays" and len(called.parts) > 1 and not called.is_absolute() else "dogdays"


def _today() -> dt.date:
    return dt.datetime.now().astimezone().date()


if __name__ == "__main__":
    main()

"""The commands about the log itself: load it, draft a mapping, list what was refused or changed, undo, rebuild."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from fleet.cli_options import DAY, FORMATS, called_as, day_of, progress_shown, put, stored, today

if TYPE_CHECKING:
    import pandas as pd

    from fleet.ingest.report import LoadReport

READABLE = click.Choice(["table", "json"])
WRITTEN = click.Path(path_type=Path, dir_okay=False)


@click.command()
@click.argument("log", type=click.Path(path_type=Path))
@click.option(
    "--dates", type=click.Choice(["mdy", "dmy"]), help="Order of day and month where the log doesn't settle it."
)
@click.option("--as-of", type=DAY, help="Visits reported after this day are refused as future (default: today).")
@click.option("--mapping", type=WRITTEN, help="How files, columns and words are to be understood (TOML).")
@click.option("--draft-mapping", type=WRITTEN, help="Write such a file from what the log shows, and load nothing.")
@click.option("--strict", is_flag=True, help="Exit with code 3 when records were refused.")
@click.option("--format", "form", type=READABLE, default="table", show_default=True, help="How the account is told.")
@click.option("--out", type=WRITTEN, help="Write the account to this file.")
@stored
def load(log: Path, form: str, out: Path | None, store_path: Path, **options: Any) -> None:  # noqa: ANN401
    """Load a service log: a folder of CSV, XLSX or SQLite files, or one such file."""
    from fleet.ingest.load import LoadOptions, load_log
    from fleet.ingest.mapping import read_mapping
    from fleet.store.snapshots import Store

    if options["draft_mapping"]:
        _draft(log, options["draft_mapping"])
        return
    mapping = read_mapping(options["mapping"]) if options["mapping"] else None
    with progress_shown() as progress:
        report = load_log(
            log, Store(store_path), loaded_on=today(), progress=progress,
            options=LoadOptions(dates=options["dates"], as_of=day_of(options["as_of"]), mapping=mapping),
        )  # fmt: skip
    put(_account(report, form, store_path), out)
    if options["strict"] and report.n_quarantined:
        sys.exit(3)


@click.command()
@click.option("--format", "form", type=READABLE, default="table", show_default=True)
@click.option("--out", type=WRITTEN, help="Write to this file.")
@stored
def account(form: str, out: Path | None, store_path: Path) -> None:
    """Tell again what was read, understood, fixed and refused, and what the log can't answer."""
    from fleet.ingest.report import read_report
    from fleet.store.snapshots import Store

    store = Store(store_path)
    with store.open() as database:
        report = read_report(database, data_version=store.data_version(), loaded=True)
    put(_account(report, form, store_path), out)


@click.command()
@stored
def rebuild(store_path: Path) -> None:
    """Build everything again from the kept sources; the answers stay the same."""
    from fleet.ingest.load import rebuild as rebuild_store
    from fleet.store.snapshots import Store

    with progress_shown() as progress:
        report = rebuild_store(Store(store_path), progress=progress)
    put(_account(report, "table", store_path), None)


@click.command()
@click.option("--format", "form", type=FORMATS, default="table", show_default=True)
@click.option("--out", type=WRITTEN, help="Write to this file.")
@stored
def loads(form: str, out: Path | None, store_path: Path) -> None:
    """List the loads the store holds, each with its number, day and files."""
    from fleet.ingest.loads import loads_table
    from fleet.store.snapshots import Store

    put(_written(loads_table(Store(store_path)), form), out)


@click.command()
@click.argument("number", type=int, required=False)
@click.option("--forget", is_flag=True, help="Delete the kept copies of its files too.")
@stored
def undo(number: int | None, forget: bool, store_path: Path) -> None:
    """Take a load back, the latest unless its NUMBER is given (`loads` lists them)."""
    from fleet.ingest.load import undo_load
    from fleet.store.snapshots import Store

    with progress_shown() as progress:
        gone, report = undo_load(Store(store_path), number, forget=forget, progress=progress)
    click.echo(f"Load {gone.number} ({gone.origin}, {gone.loaded_on}) is taken back.")
    if report is None:
        click.echo("Nothing is loaded now.")
        return
    put(_account(report, "table", store_path), None)


@click.command()
@click.option("--what", type=click.Choice(["quarantined", "duplicate", "blank", "notices", "changes"]),
              default="quarantined", show_default=True,
              help="Records refused, doubled, blank, kept with a change, or what corrections changed.")  # fmt: skip
@click.option("--format", "form", type=FORMATS, default="table", show_default=True,
              help="Refused records as csv can be corrected and loaded again.")  # fmt: skip
@click.option("--out", type=WRITTEN, help="Write to this file.")
@stored
def records(what: str, form: str, out: Path | None, store_path: Path) -> None:
    """List the records that were refused, doubled, blank or changed, each with its file, number and reason."""
    from fleet.ingest.changes import list_changes
    from fleet.ingest.records import find_records, records_table
    from fleet.ingest.refused_file import write_refused
    from fleet.store.snapshots import Store

    store = Store(store_path)
    if what == "changes":
        put(_written(list_changes(store), form), out)
        return
    found = find_records(store, {"notices": "kept"}.get(what, what))
    if what == "quarantined" and form == "csv":
        put(write_refused(found), out)
    else:
        put(_written(records_table(found), form), out)


def _draft(log: Path, to: Path) -> None:
    from fleet.errors import SourceError
    from fleet.ingest.drafting import draft_for

    if to.exists():
        msg = f"{to} is there already; name another file, or move it away"
        raise SourceError(msg)
    text = draft_for(log, f"{called_as()} load {log} --mapping {to}")
    put(text, to)
    click.echo(f"Look through it and correct it, then: {called_as()} load {log} --mapping {to}")


def _account(report: LoadReport, form: str, store_path: Path) -> str:
    from fleet.present.load_text import load_json, load_text

    if form == "json":
        return load_json(report)
    return load_text(report, str(store_path), command=called_as())


def _written(frame: pd.DataFrame, form: str) -> str:
    from fleet.present.export import as_csv, as_json
    from fleet.present.tables import table_text

    return {"csv": as_csv, "json": as_json, "table": table_text}[form](frame)


LOG_COMMANDS = (load, account, records, loads, undo, rebuild)

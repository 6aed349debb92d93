"""What the commands share: options, progress on a terminal, and how an answer is printed or written."""

from __future__ import annotations

import datetime as dt
import shutil
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from fleet.errors import FleetError
from fleet.settings import CHAIN_DAYS, LEVEL, STORE_FOLDER

if TYPE_CHECKING:
    from fleet.answer import Answer
    from fleet.histories.build import Histories

F = TypeVar("F", bound=Callable[..., Any])

DAY = click.DateTime(formats=["%Y-%m-%d"])
ROWS_SHOWN = 60
"""A table for the eye stops here and says how many rows more CSV and JSON have."""

WIDEST = 140
"""A terminal may be wider; a line of a table that is can't be followed by eye."""

FORMATS = click.Choice(["table", "csv", "json"])


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


def take_shared(options: dict[str, Any]) -> dict[str, Any]:
    """Take the options of `answering` out of a command's own."""
    return {name: options.pop(name) for name in ("as_of", "chain_days", "form", "out", "store_path")}


def columns_of(by: str | None) -> list[str]:
    """Return the columns named in one option, comma between."""
    return [name.strip() for name in by.split(",") if name.strip()] if by else []


@contextmanager
def known_histories(shared: dict[str, Any]) -> Iterator[Histories]:
    """Work out the histories as the shared options say, and let go of them afterwards."""
    from fleet.histories.build import build_histories
    from fleet.store.snapshots import Store

    with progress_shown() as progress:
        progress("working out the histories")
        known = build_histories(
            Store(shared["store_path"]), as_of=day_of(shared["as_of"]), chain_days=shared["chain_days"]
        )
    try:
        yield known
    finally:
        known.close()


def show(answers: Sequence[Answer], shared: dict[str, Any]) -> None:
    """Print or write answers as the shared options say."""
    from fleet.present.export import as_csv, as_json
    from fleet.present.tables import WIDTH, as_text

    if shared["form"] == "csv":
        text = "\n".join(as_csv(answer) for answer in answers)
    elif shared["form"] == "json":
        text = as_json(answers[0]) if len(answers) == 1 else "[" + ",\n".join(as_json(a) for a in answers) + "]"
    else:
        width = _width() if shared["out"] is None else WIDTH
        text = "\n\n".join(as_text(answer, width, limit=ROWS_SHOWN) for answer in answers)
    put(text, shared["out"])


def put(text: str, out: Path | None) -> None:
    """Print a text, or write it to the file named with ``--out``."""
    if out is None:
        click.echo(text.rstrip("\n"))
        return
    try:
        # newline="": a CSV text has line ends of its own
        out.write_text(text if text.endswith("\n") else text + "\n", encoding="utf-8", newline="")
    except OSError as error:
        msg = f"{out} can't be written ({error.strerror or error}); name another file with --out"
        raise FleetError(msg) from error
    click.echo(f"written to {out}")


def _width() -> int:
    """Return the columns a text may have: those of a wide terminal, else the usual 80."""
    from fleet.present.tables import WIDTH

    if not sys.stdout.isatty():
        return WIDTH
    return max(WIDTH, min(shutil.get_terminal_size((WIDTH, 24)).columns, WIDEST))


@contextmanager
def progress_shown() -> Iterator[Callable[[str], None]]:
    """Show what is being done on a terminal; stay silent elsewhere."""
    if not sys.stderr.isatty():
        yield lambda _: None
        return
    from rich.console import Console

    with Console(stderr=True).status("…") as status:
        yield lambda said: status.update(said)


def day_of(value: dt.datetime | None) -> dt.date | None:
    """Return the day of a date option."""
    return value.date() if value else None


def called_as() -> str:
    """Return how the reader called this command, so that what is suggested can be pasted."""
    called = Path(sys.argv[0])
    return sys.argv[0] if called.name == "dogdays" and len(called.parts) > 1 and not called.is_absolute() else "dogdays"


def today() -> dt.date:
    """Return the day on this machine's clock; only the command line asks it."""
    return dt.datetime.now().astimezone().date()

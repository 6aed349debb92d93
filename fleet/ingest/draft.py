"""A first mapping of a foreign log: what each column probably is, how sure that is, and what it makes possible.

The draft is TOML that can be used as it stands: `fleet.ingest.mapping.read_mapping` reads it back.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence

import tomlkit

from fleet.ingest.draft_offers import MOST_SAME, MOST_WORDS, SameOffer, WordOffer, same_offers, word_offers
from fleet.ingest.guess import GuessedColumn, GuessedFile, SeenTable, guess_files
from fleet.ingest.guess_values import date_order
from fleet.ingest.mapping import columns_of
from fleet.ingest.possible import CANNOT, made_possible_by, what_is_missing
from fleet.store.schema import TABLES

__all__ = ["SeenTable", "draft_mapping"]

SHOWN = 40
"""Characters of a sample that are shown."""

SETTLED = ("mdy", "dmy")


def draft_mapping(tables: Sequence[SeenTable], *, command: str) -> str:
    """Draft the mapping of a log from what was seen of it.

    Parameters
    ----------
    tables : sequence of SeenTable
        Every table of the log, each with its first few hundred records.
    command : str
        The command that loads the log with the mapping, as the user would type it.

    Returns
    -------
    str
        Commented TOML: write it as UTF-8.
    """
    files = guess_files(tables)
    counted = {table.name: table.n_records for table in tables}
    lines = [*_opening(command)]
    for file in files:
        lines += _file(file, counted[file.name], files)
    lines += _same(same_offers(files))
    lines += _words(word_offers(files))
    lines += _cannot(files)
    return "\n".join(lines) + "\n"


def safe(text: str, limit: int = SHOWN) -> str:
    """Return a text fit for one comment line: what can't be seen is shown by its number, what is long is cut."""
    text = text.strip()
    shown = "".join(letter if letter.isprintable() else _escaped(letter) for letter in text[:limit])
    return shown + ("…" if len(text) > limit else "")


def _escaped(letter: str) -> str:
    return {"\n": "\\n", "\t": "\\t", "\r": "\\r"}.get(letter, f"\\u{ord(letter):04x}")


def _opening(command: str) -> Iterator[str]:
    yield "# How this log is read: a draft, made from the first records of each file."
    yield "# 1. Look at each column: means says which of the tool's columns it is; blank leaves it aside."
    yield "#    Above it: sample values, how sure the guess is and why, and the answers it makes possible."
    yield "# 2. Correct what is wrong, above all what is called a guess."
    yield f"# 3. Load with: {safe(command, 500)}"
    yield "# unit says what a column is written in where that isn't the tool's own unit; it is converted."
    yield '# part = "time" marks a time of day whose date stands in another column.'
    yield ""


def _file(file: GuessedFile, n_records: int, files: Sequence[GuessedFile]) -> Iterator[str]:
    taken = f"taken for {file.table}" if file.table else "left aside"
    yield f"# {'=' * 100}"
    yield f"# {safe(file.name, 200)}: {n_records:,} records, {taken}: {safe(file.why, 300)}"
    if not file.table:
        yield f"# To read it, write one of {', '.join(TABLES)} as its table and say what its columns mean."
    yield "[[file]]"
    yield f"name = {_text(file.name)}"
    yield f"table = {_text(file.table)}"
    if file.header_record != 1:
        yield f"header_record = {file.header_record}  # the records above it are titles"
    if _open_dates(file, files):
        yield "# Nothing seen settles whether 03/04 is March or April in every date of this file: if the load stops for"
        yield "# that, write mdy or dmy here."
    yield 'dates = ""'
    yield 'decimal = ""'
    yield ""
    headers = Counter(header.strip() for header in file.headers)
    for column in file.columns:
        name = column.header.strip()
        if name or any(cell.strip() for cell in file.cells(column.position)):
            yield from _column(file, column, files, is_twin=headers[name] > 1 or not name)
    yield from _always(file)


def _column(file: GuessedFile, column: GuessedColumn, files: Sequence[GuessedFile], *, is_twin: bool) -> Iterator[str]:
    cells = file.cells(column.position)
    samples = list(dict.fromkeys(shown for cell in cells if (shown := safe(cell))))[:3]
    yield f"  # values: {'  |  '.join(samples) if samples else 'none in the records seen'}"
    yield f"  # {column.sureness}: {safe(column.why, 200)}"
    if file.table and column.means and (answers := made_possible_by(file.table, column.means)):
        more = f" and {len(answers) - 3} more" if len(answers) > 3 else ""
        yield f"  # makes possible: {'; '.join(answers[:3])}{more}"
    yield "  [[file.column]]"
    yield f"  header = {_text(column.header)}"
    yield f"  means = {_text(column.means)}"
    if is_twin:
        yield f"  position = {column.position + 1}"
    if column.part:
        yield f"  part = {_text(column.part)}"
    if column.unit:
        yield f"  unit = {_text(column.unit)}"
    order, said = _order(file, column, files)
    if order:
        yield f"  dates = {_text(order)}  # {safe(said, 200)}"
    yield ""


def _order(file: GuessedFile, column: GuessedColumn, files: Sequence[GuessedFile]) -> tuple[str, str]:
    """Return the order of day and month of a column that doesn't settle it, from the file's or the log's others."""
    unsettled = _is_dated(file, column) and date_order(file.cells(column.position)) == "open"
    # where only a part was seen, the whole column may well settle it
    if not unsettled or not file.whole:
        return "", ""
    for group, said in (([file], "as in the file's other dates"), (files, "as in the log's other files")):
        orders = _orders(group)
        if len(orders) == 1 and orders <= set(SETTLED):
            return orders.pop(), f"its own values don't settle it; {said}"
    return "", ""


def _orders(files: Sequence[GuessedFile]) -> set[str]:
    found = {date_order(f.cells(c.position)) for f in files for c in f.columns if _is_dated(f, c)}
    return found & {*SETTLED, "both"}


def _open_dates(file: GuessedFile, files: Sequence[GuessedFile]) -> bool:
    dated = [column for column in file.columns if _is_dated(file, column)]
    unsettled = [column for column in dated if date_order(file.cells(column.position)) == "open"]
    return any(not _order(file, column, files)[0] for column in unsettled)


def _is_dated(file: GuessedFile, column: GuessedColumn) -> bool:
    known = columns_of(file.table) if file.table else {}
    return column.means in known and known[column.means].kind in ("date", "datetime") and not column.part


def _always(file: GuessedFile) -> Iterator[str]:
    for means, value, why in file.always:
        yield f"  # {safe(why, 200)}"
        yield "  [[file.always]]"
        yield f"  means = {_text(means)}"
        yield f"  value = {_text(value)}"
        yield ""
    if file.table in ("visits", "equipment") and not any(column.means == "property" for column in file.columns):
        yield "  # If every record is of one place, say so here:"
        yield "  # [[file.always]]"
        yield '  # means = "property"'
        yield '  # value = "Cedar Court"'
        yield ""


def _same(offers: Sequence[SameOffer]) -> Iterator[str]:
    yield f"# {'=' * 100}"
    yield "# One thing written several ways. Take away the # to read them as one; add others in the same form."
    if not offers:
        yield from ("# [[same]]", '# column = "building"', '# keep = "Juniper 3"')
        yield from ('# written = ["juniper 03", "JUN3"]', "")
    for column in dict.fromkeys(offer.column for offer in offers):
        own = [offer for offer in offers if offer.column == column]
        for offer in own[:MOST_SAME]:
            written = ", ".join(_text(one) for one in offer.written)
            yield from ("# [[same]]", f"# column = {_text(column)}", f"# keep = {_text(offer.keep)}")
            yield from (f"# written = [{written}]", "")
        if len(own) > MOST_SAME:
            yield from (f"# … and {len(own) - MOST_SAME} more of {column} that differ only so", "")


def _words(offers: Sequence[WordOffer]) -> Iterator[str]:
    yield f"# {'=' * 100}"
    yield "# Words of the log that no short list knows. Say what one means, and take away the #; else it stays aside."
    if not offers:
        yield from ("# [[word]]", '# column = "finding"', '# written = "cap blew"', '# means = "run capacitor"', "")
    for column in dict.fromkeys(offer.column for offer in offers):
        own = [offer for offer in offers if offer.column == column]
        yield f"# {column} may be: {', '.join(own[0].allowed)}"
        for offer in own[:MOST_WORDS]:
            yield from ("# [[word]]", f"# column = {_text(column)}", f"# written = {_text(offer.written)}")
            yield from (f"# means = {_text(offer.means)}  # seen {offer.times} times", "")
        if len(own) > MOST_WORDS:
            yield from (f"# … and {len(own) - MOST_WORDS} more of {column}", "")


def _cannot(files: Sequence[GuessedFile]) -> Iterator[str]:
    present: dict[str, set[str]] = {}
    for file in files:
        if file.table:
            filled = {c.means for c in file.columns if c.means and any(cell.strip() for cell in file.cells(c.position))}
            present.setdefault(file.table, set()).update(filled, (means for means, _, _ in file.always))
    missing = what_is_missing(present)
    yield f"# {'=' * 100}"
    yield "# What this log doesn't tell, and what would:" if missing else "# Every answer has its columns."
    for one in sorted(missing, key=lambda one: one.instead != CANNOT):
        yield f"# - {one.answer}: {one.instead}; wants {', '.join(one.columns)}"


def _text(value: str) -> str:
    """Return a TOML string on one line, in which every character that can't be seen is written by its number."""
    made = tomlkit.item(value).as_string()
    return "".join(letter if letter.isprintable() else f"\\U{ord(letter):08X}" for letter in made)

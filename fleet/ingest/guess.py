"""What is each column of a foreign log? A guess for every file: its table, its columns, and how sure that is.

Columns are given to the contract's one to one so that the whole fits best (the assignment problem, by
``scipy.optimize.linear_sum_assignment``); a second look uses the tags the first found in the other files.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from fleet.ingest.guess_file import Choice, GuessedColumn, GuessedFile, OneFile, SeenTable
from fleet.ingest.guess_score import ACCEPT, FAMILY, Score

__all__ = ["GuessedColumn", "GuessedFile", "SeenTable", "guess_files"]


def guess_files(tables: Sequence[SeenTable]) -> tuple[GuessedFile, ...]:
    """Guess what each file of a log and each of its columns is."""
    files = [OneFile(table) for table in tables]
    first = [file.choose({}) for file in files]
    tags = [_tags_of(file, choice) for file, choice in zip(files, first, strict=True)]
    chosen = []
    for i, file in enumerate(files):
        chosen.append(file.choose(_joined(tags[:i] + tags[i + 1 :])))
    aside = _visits_told_twice(files, chosen)
    return tuple(files[i].guessed(chosen[i], told_in=aside.get(i, "")) for i in range(len(files)))


def _joined(tags: Sequence[Mapping[str, frozenset[str]]]) -> dict[str, frozenset[str]]:
    return {family: frozenset().union(*(one.get(family, ()) for one in tags)) for family in set(FAMILY.values())}


def _tags_of(file: OneFile, choice: Choice) -> dict[str, frozenset[str]]:
    """Return the tags a file holds, by family, so that other files' columns may be known by them."""
    tags: dict[str, frozenset[str]] = {}
    if choice.total < 1.2:
        return tags
    for i, (name, _) in choice.given.items():
        if name in FAMILY and choice.scores[i].get((name, ""), Score(0, 0, 0)).total >= ACCEPT + 0.1:
            tags[FAMILY[name]] = tags.get(FAMILY[name], frozenset()) | file.columns[i].tags
    return tags


def _visits_told_twice(files: Sequence[OneFile], chosen: Sequence[Choice]) -> dict[int, str]:
    """Return files of visits that another tells more fully: loaded too, they would replace its records."""
    found = {}
    told = []
    for i, choice in enumerate(chosen):
        key = next((j for j, target in choice.given.items() if target == ("visit_id", "")), None)
        if choice.table == "visits" and key is not None:
            told.append((i, files[i].columns[key].tags, {name for name, _ in choice.given.values()}))
    for i, tags, meant in told:
        for other, other_tags, other_meant in told:
            poorer = len(other_meant - meant) > len(meant - other_meant) + 2
            if i != other and poorer and len(tags & other_tags) > len(tags) / 2:
                found[i] = files[other].name
    return found

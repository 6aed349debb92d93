"""One table of a mapping file, taken apart key by key: every mistake is said with its place and what is allowed."""

from __future__ import annotations

import difflib
from collections.abc import Mapping, Sequence
from typing import NoReturn

from fleet.errors import SourceError
from fleet.ingest.guess_names import unit_code
from fleet.ingest.measures import UNITS


class Entry:
    """One table of the file; a key taken is done with, and `done` refuses those nobody asked for."""

    def __init__(self, place: str, values: object) -> None:
        self.place = place
        if not isinstance(values, Mapping):
            self.fail(f"{_shown(values)} stands where a table of keys and values is needed")
        self._left: dict[str, object] = dict(values)
        self._asked: list[str] = []

    def fail(self, what: str) -> NoReturn:
        """Raise SourceError, the place first."""
        msg = f"{self.place}: {what}"
        raise SourceError(msg)

    def text(self, key: str) -> str:
        """Return a needed text; a number or yes/no is taken as it is written."""
        value = self._take(key)
        if value is None:
            self.fail(f"{key} is missing")
        return self._as_text(key, value)

    def texts(self, key: str) -> tuple[str, ...]:
        """Return a needed list of texts; a single text is a list of one."""
        value = self._take(key)
        if value is None:
            self.fail(f"{key} is missing")
        listed = value if isinstance(value, list) else [value]
        return tuple(self._as_text(key, one) for one in listed)

    def word(
        self, key: str, allowed: Sequence[str], *, also: Sequence[str] = (), of: str = "", default: str | None = None
    ) -> str:
        """Return a text that must be one of ``allowed`` (or ``also``, which isn't listed in the sentence)."""
        if default is not None and key not in self._left:
            self._asked.append(key)
            return default
        value = self.text(key)
        if value in allowed or value in also:
            return value
        near = difflib.get_close_matches(value.lower(), [*allowed, *also], n=1, cutoff=0.6)
        hint = f"did you mean {near[0]!r}?" if near else f"allowed are {_listed(allowed)}"
        self.fail(f"{key} = {_shown(value)} is {of or 'not known'}; {hint}")

    def count(self, key: str) -> int | None:
        """Return a whole number from 1 on, None where the key isn't there."""
        value = self._take(key)
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, int) or value < 1:
            self.fail(f"{key} = {_shown(value)} must be a whole number, 1 or more")
        return value

    def unit(self, means: str) -> str:
        """Return the code of the unit the column is written in, blank where none or the contract's own is said."""
        self._asked.append("unit")
        if "unit" not in self._left or not (said := self.text("unit").strip()) or not means:
            self._left.pop("unit", None)
            return ""
        allowed = UNITS.get(means, ())
        code = unit_code(said)
        if code not in allowed:
            what = f"allowed are {', '.join(allowed)}" if allowed else f"{means} has no unit to convert; leave it out"
            self.fail(f"unit = {_shown(said)} doesn't fit {means}; {what}")
        return "" if code == allowed[0] or code is None else code

    def tables(self, key: str, named_by: str) -> list[Entry]:
        """Return the tables under ``key``, each with a place of its own."""
        value = self._take(key)
        if value is None:
            return []
        if not isinstance(value, list):
            self.fail(f"write [[{key}]] with two brackets on each side: there may be several")
        inside = f"{self.place}, " if " " in self.place else f"{self.place} "
        made = []
        for i, one in enumerate(value):
            name = one.get(named_by) if isinstance(one, Mapping) else None
            said = f" ({_shown(name)})" if isinstance(name, str) else ""
            made.append(Entry(f"{inside}{key} {i + 1}{said}", one))
        return made

    def done(self) -> None:
        """Refuse keys nobody asked for."""
        for key in self._left:
            near = difflib.get_close_matches(key.lower(), self._asked, n=1, cutoff=0.6)
            hint = f"did you mean {near[0]!r}?" if near else f"allowed are {', '.join(self._asked)}"
            self.fail(f"{_shown(key)} isn't known here; {hint}")

    def _take(self, key: str) -> object:
        self._asked.append(key)
        return self._left.pop(key, None)

    def _as_text(self, key: str, value: object) -> str:
        if isinstance(value, bool):
            return "yes" if value else "no"
        if isinstance(value, (str, int, float)):
            return str(value)
        self.fail(f"{key} = {_shown(value)} must be text between quotation marks")


def _shown(value: object) -> str:
    text = repr(value)
    return text if len(text) <= 60 else text[:57] + "…" + text[-1]


def _listed(allowed: Sequence[str]) -> str:
    shown = [word or '""' for word in allowed]
    return ", ".join(shown[:24]) + (f" and {len(shown) - 24} more" if len(shown) > 24 else "")

"""The mark that keeps a spreadsheet from running a text as a formula, put on at export and taken off at loading."""

from __future__ import annotations

import re

RUNS = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")
"""Beginnings a spreadsheet takes for a formula (list after the OWASP page on CSV injection, from memory)."""

MARK = "'"

_NUMBER = re.compile(r"[+-]?\d+([.,]\d+)*")


def guard(text: str) -> str:
    """Return text that no spreadsheet runs as a formula.

    Examples
    --------
    >>> guard("=1+1"), guard("B-7")
    ("'=1+1", 'B-7')
    """
    return MARK + text if text.startswith(RUNS) else text


def guard_cell(text: str) -> str:
    """Guard a cell so that `unguard_cell` gives back exactly what was there; a plain number stays a number.

    Examples
    --------
    >>> guard_cell("-12.50"), guard_cell("-x"), guard_cell("'tis"), unguard_cell("''tis")
    ('-12.50', "'-x", "''tis", "'tis")
    """
    if _NUMBER.fullmatch(text):
        return text
    return MARK + text if text.startswith((*RUNS, MARK)) else text


def unguard_cell(text: str) -> str:
    """Take the mark off a cell that `guard_cell` wrote."""
    return text.removeprefix(MARK)

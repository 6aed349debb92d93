"""Whether 1,234 is a thousand or one and a bit: a column's decimal mark, settled from all of it where it can be."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class DecimalMark:
    """How a column's numbers are read.

    ``mark`` is ``comma`` (every cell goes through the macro from_comma; "44.2" is then no number), ``point`` (each
    cell is read by its own shape, which knows "44,2" too) or ``mixed`` (the same, and the column writes both ways).
    """

    column: str
    mark: str
    said: str

    @property
    def is_comma(self) -> bool:
        """Whether the column is put into point form before it is read."""
        return self.mark == "comma"


def decimals_sql(cell: str) -> str:
    """Return the SQL of three counts over one cell: decimal commas, decimal points, and numbers that may be either.

    Notes
    -----
    Needs the macros of value_decimals.sql. Ask it of columns of numbers and money only: a date has points of its own.
    """
    return ", ".join(
        f"count(*) filter (decimal_shape({cell}) = '{shape}')" for shape in ("comma", "point", "undecided")
    )


def decide_decimal(
    source: str, column: str, forced: str | None, *, n_comma: int, n_point: int, n_undecided: int
) -> DecimalMark | None:
    """Decide a column's decimal mark from how its cells are written; None where nothing needs to be said.

    Parameters
    ----------
    source, column : str
        What the sentence names.
    forced : {"comma", "point"} or None
        What the user said; it always wins.
    n_comma, n_point, n_undecided : int
        Cells that can only be decimal commas ("44,2"), only decimal points ("44.2"), and either ("1,234").

    Notes
    -----
    A load doesn't stop for this, as it does for dates: most columns hold only cells that read the same either way,
    and a cell that doesn't mostly says so by its shape. What is left over is said aloud.
    """
    if forced:
        return DecimalMark(column=column, mark=forced, said=f"{source}: {column} read with a decimal {forced}, as told")
    if n_comma and not n_point:
        said = f"{source}: {column} read with a decimal comma; {_values(n_comma)} can only be read so"
        if n_undecided:
            said += f", and {_values(n_undecided)} that may be either (like 1,234) {_are(n_undecided)} read so too"
        return DecimalMark(column=column, mark="comma", said=said)
    if n_comma:
        said = (
            f"{source}: {column} holds {_values(n_comma)} with a decimal comma and {n_point} with a decimal point; "
            "each was read by its own shape"
        )
        if n_undecided:
            said += (
                f", and {_values(n_undecided)} that may be either {_are(n_undecided)} read with a decimal point: "
                'say decimal = "comma" in a mapping file if that is wrong'
            )
        return DecimalMark(column=column, mark="mixed", said=said)
    return None


def _values(n: int) -> str:
    return f"{n} value" if n == 1 else f"{n} values"


def _are(n: int) -> str:
    return "is" if n == 1 else "are"

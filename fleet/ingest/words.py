"""What people write for the contract's short lists: call types, outcomes, reasons, stages, sections."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from fleet.store.schema import Column
from fleet.trade.components import to_component

WORD_SYNONYMS: Mapping[str, Mapping[str, tuple[str, ...]]] = MappingProxyType(
    {
        "call_type": {
            "no cooling": ("no cool", "not cooling", "no ac", "no a/c", "no-cooling", "no cooling call", "nc"),
            "poor cooling": ("weak cooling", "not cooling well", "warm air", "low cooling"),
            "breaker trip": ("breaker", "tripped breaker", "breaker tripped", "trips breaker"),
            "noise": ("noisy", "loud", "noise complaint"),
            "water leak": ("leak", "water", "leaking water", "condensate leak"),
            "preventive maintenance": ("pm", "preventive", "preventative maintenance", "maintenance", "tune up", "tune-up", "spring round", "inspection", "planned"),
            "turnover": ("make ready", "make-ready", "turn", "vacant turn", "move in", "move out"),
            "follow-up": ("follow up", "followup", "call back", "call-back", "callback", "return", "recheck"),
        },
        "outcome": {
            "cooling restored": ("restored", "fixed", "repaired", "done", "complete", "completed", "ok", "resolved", "cooling"),
            "temporary": ("temp", "temporary fix", "temp fix"),
            "waiting for part": ("waiting on part", "waiting for parts", "waiting on parts", "parts on order", "on order", "part ordered"),
            "no access": ("no entry", "not home", "no answer"),
            "unit replaced": ("replaced unit", "new unit", "unit changed", "changeout", "change out"),
        },
        "why": {
            "failed": ("fail", "failure", "bad", "dead", "broken", "repair", "blown"),
            "weak": ("low", "drifted", "out of tolerance", "marginal", "low reading"),
            "preventive": ("pm", "preventative", "prevention", "planned"),
            "upgrade": ("improvement", "upgraded"),
            "unknown": ("?", "not recorded", "n/a", "na", "none"),
        },
        "compressor_type": {
            "reciprocating": ("recip", "piston"),
            "rotary": ("rotary compressor", "rolling piston"),
            "scroll": ("scroll compressor",),
            "unknown": ("?", "n/a", "na", "not known"),
        },
        "stage": {
            "found": ("as found", "before", "as-found", "old"),
            "left": ("as left", "after", "as-left"),
            "new": ("new part", "before fitting", "out of box", "out of the box"),
        },
        "component": {
            "herm": ("hermetic", "compressor", "comp", "run", "run herm", "c-h", "h"),
            "fan": ("fan motor", "cond fan", "c-f", "f"),
            "start": ("start cap", "start capacitor", "hard start", "hsk", "start kit", "s"),
        },
        "method": {
            "bench": ("off", "disconnected", "meter", "bench test"),
            "running": ("under load", "live", "on", "loaded"),
        },
    }
)  # fmt: skip

DEFAULTS: Mapping[str, str] = MappingProxyType({"call_type": "other", "why": "unknown", "compressor_type": "unknown"})
"""What an unknown word becomes (with a flag); a column that isn't here refuses it or is left blank."""

REFUSES_UNKNOWN = ("stage", "component", "method")
"""Columns of readings in which an unknown word makes the row unusable."""


def understand_word(column: Column, written: str) -> str | None:
    """Return the contract's word for what was written, None where it isn't known.

    ``written`` may be in any case and spacing; components follow ``fleet.trade.components``.
    """
    if column.kind == "component":
        return to_component(written)
    plain = " ".join(written.lower().replace("_", " ").split())
    if plain in column.words:
        return plain
    for word, others in WORD_SYNONYMS.get(column.name, {}).items():
        if plain in others:
            return word
    return None

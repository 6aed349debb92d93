"""What people write for the contract's short lists: call types, outcomes, reasons, stages, sections.

To teach the loader another word, add it here; case, spaces, punctuation and accents don't matter. Source of the
words: common practice, no source.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping
from functools import lru_cache
from types import MappingProxyType

from fleet.store.schema import Column
from fleet.trade.components import to_component

WORD_SYNONYMS: Mapping[str, Mapping[str, tuple[str, ...]]] = MappingProxyType(
    {
        "call_type": {
            "no cooling": ("no cool", "not cooling", "no ac", "no cooling call", "nc", "no cold air", "not blowing cold", "not working", "ac not working", "ac out", "ac down", "unit down", "no air", "ac not cooling", "won't cool", "does not cool", "doesn't cool", "blowing hot air", "blows hot", "hot air", "no cold", "unit not running", "won't start", "not running", "not turning on", "won't turn on", "ac dead", "down", "no enfria", "no cool call", "ac broken", "unit not cooling", "no cooling at all", "too hot", "hot apartment", "apt hot", "no ac call", "dead"),
            "poor cooling": ("weak cooling", "warm", "hot", "not cold", "not cooling well", "warm air", "low cooling", "poor cool", "not cold enough", "blowing warm", "blows warm air", "blowing warm air", "barely cooling", "insufficient cooling", "not keeping up", "can't keep up", "runs constantly", "runs all the time", "not cool enough", "weak air", "low airflow", "weak airflow", "not cooling enough", "cooling poorly", "poca refrigeracion", "enfria poco", "inadequate cooling", "freezing up", "iced up", "frozen coil"),
            "breaker trip": ("breaker", "tripped breaker", "breaker tripped", "trips breaker", "tripping breaker", "breaker tripping", "trips", "keeps tripping", "tripping", "breaker trips", "brkr trip", "breaker issue"),
            "noise": ("noisy", "loud", "noise complaint", "loud noise", "making noise", "strange noise", "unit noisy", "rattle", "rattling", "buzzing", "humming", "grinding", "squealing", "ruido", "vibration", "banging", "noisey", "unit loud"),
            "water leak": ("leak", "water", "leaking water", "condensate leak", "leaking", "water leaking", "dripping", "water damage", "leak water", "fuga de agua", "drain leak", "ac leaking", "water on floor", "water dripping", "overflow", "drain overflow", "water from ac", "leaks water"),
            "preventive maintenance": ("pm", "preventive", "preventative maintenance", "maintenance", "tune up", "spring round", "inspection", "planned", "preventative", "routine", "routine maintenance", "scheduled maintenance", "seasonal", "seasonal check", "spring check", "annual", "annual pm", "spring pm", "checkup", "check up", "pm visit", "pm call", "mantenimiento", "mantenimiento preventivo", "spring tune up", "planned maintenance", "spring maintenance", "pm inspection", "quarterly pm", "semi annual pm"),
            "turnover": ("make ready", "turn", "vacant turn", "move in", "move out", "makeready", "unit turn", "apartment turn", "apt turn", "turn over", "move-in inspection", "move out inspection", "vacate"),
            "follow-up": ("followup", "call back", "callback", "return", "recheck", "re check", "return visit", "return trip", "second visit", "revisit", "repeat call", "fu", "return call", "finish repair"),
            "other": ("misc", "miscellaneous", "otro", "others", "general"),
        },
        "outcome": {
            "cooling restored": ("restored", "fixed", "repaired", "done", "complete", "completed", "ok", "resolved", "cooling", "working", "running", "running ok", "back in service", "cooling again", "works", "fixed it", "problem fixed", "unit running", "operational", "in service", "cooling on departure", "all good", "finished", "completed ok", "solved", "unit cooling", "cooling ok", "left running", "left cooling", "repair complete", "repair completed", "arreglado", "reparado", "terminado", "resuelto", "working again", "up and running", "closed - fixed", "closed complete", "satisfactory", "normal operation", "unit ok"),
            "temporary": ("temp", "temporary fix", "temp fix", "temporary repair", "temp repair", "band aid", "bandaid", "patched", "limping", "partial", "partially fixed", "portable left", "loaner left", "temporal", "provisional", "stopgap", "got it going"),
            "waiting for part": ("waiting on part", "waiting for parts", "waiting on parts", "parts on order", "on order", "part ordered", "awaiting part", "awaiting parts", "need part", "needs part", "needs parts", "need parts", "parts needed", "part needed", "ordered part", "ordered parts", "parts ordered", "part on order", "pending parts", "pending part", "backordered", "back order", "parts pending", "esperando pieza", "esperando refaccion", "on hold parts", "wfp", "wait for part", "waiting parts", "waiting part"),
            "no access": ("no entry", "not home", "no answer", "could not enter", "couldn't enter", "couldn't get in", "no key", "locked", "locked out", "nobody home", "resident not home", "access denied", "denied entry", "refused entry", "sin acceso", "no one home", "can't access", "unable to access", "could not access", "rescheduled", "no show", "denied access", "unable to enter"),
            "unit replaced": ("replaced unit", "new unit", "unit changed", "changeout", "change out", "new condenser", "condenser replaced", "replaced condenser", "system replaced", "new system", "replaced system", "unit swapped", "swapped unit", "new condensing unit", "unidad nueva", "unit change out", "full replacement", "swap out", "unit swap"),
        },
        "why": {
            "failed": ("fail", "failure", "bad", "dead", "broken", "repair", "blown", "defective", "faulty", "burnt", "burned out", "burnt out", "shorted", "locked up", "seized", "worn out", "failed part", "broke", "no good", "ng", "breakdown", "malo", "fallo", "quemado", "leaking", "failed in service", "grounded", "swollen", "bulged", "stuck", "was bad", "went bad", "not working", "damaged"),
            "weak": ("low", "drifted", "out of tolerance", "marginal", "low reading", "reading low", "low uf", "low mfd", "out of spec", "oot", "below spec", "weak reading", "degraded", "going bad", "out of range", "drift", "tested low", "tested weak", "debil"),
            "preventive": ("pm", "preventative", "prevention", "planned", "scheduled", "routine", "maintenance", "proactive", "as precaution", "precaution", "precautionary", "while there", "spring pm", "preventivo", "preventive maintenance", "just in case", "pm replacement", "scheduled replacement"),
            "upgrade": ("improvement", "upgraded", "retrofit", "conversion", "mejora", "add on", "upsize", "enhancement"),
            "unknown": ("?", "??", "not recorded", "n/a", "none", "unk", "not stated", "tbd", "not known", "-", "desconocido", "not given", "no reason"),
        },
        "compressor_type": {
            "reciprocating": ("recip", "piston", "reciprocating compressor", "recp", "rec", "reciprocante", "reciproc", "recipro", "pistons"),
            "rotary": ("rotary compressor", "rolling piston", "rot", "rtry", "rotativo", "rotary vane", "twin rotary", "rotatory"),
            "scroll": ("scroll compressor", "scr", "scrl", "scrol", "scrolls"),
            "unknown": ("?", "n/a", "not known", "unk", "??", "none", "-", "tbd", "desconocido", "not sure"),
        },
        "stage": {
            "found": ("as found", "before", "old", "initial", "arrival", "on arrival", "af", "pre", "before repair", "antes", "found reading", "old cap", "before replacement"),
            "left": ("as left", "after", "final", "departure", "al", "post", "after repair", "on departure", "despues", "left reading", "leaving"),
            "new": ("new part", "before fitting", "out of box", "out of the box", "new cap", "replacement", "nuevo", "new capacitor", "oob", "replacement cap", "bench new"),
        },
        "component": {
            "herm": ("hermetic", "compressor", "comp", "run", "run herm", "c-h", "h", "herm side", "herm-c", "h-c", "compressor side", "comp side", "herm section", "compr", "ch", "hc", "herm to c", "c to herm", "c to h", "compresor", "herm terminal", "hrm", "comp cap", "compressor cap", "herm cap"),
            "fan": ("fan motor", "cond fan", "c-f", "f", "fan side", "f-c", "fan section", "condenser fan", "cf", "fc", "fan to c", "c to fan", "c to f", "ventilador", "fan terminal", "fan cap", "ofm", "cond fan motor", "outdoor fan"),
            "start": ("start cap", "start capacitor", "hard start", "hsk", "start kit", "s", "start section", "hard start kit", "arranque", "hard start cap"),
        },
        "method": {
            "bench": ("off", "disconnected", "meter", "bench test", "capacitance meter", "power off", "dmm", "removed", "out of circuit", "static", "de-energized", "multimeter", "cap meter", "discharged", "isolated"),
            "running": ("under load", "live", "on", "loaded", "in circuit", "energized", "amp x 2652", "amps/volts", "running load", "power on", "calculated", "in operation", "dynamic", "clamp", "amp clamp", "running test"),
        },
    }
)  # fmt: skip

_SMALL = frozenset(
    ["a", "again", "an", "and", "is", "it", "its", "of", "quite", "really", "so", "the", "to", "very", "was"]
)
_ABOUT_THE_UNIT = frozenset(
    ["ac", "apartment", "apt", "call", "complaint", "in", "issue", "problem", "resident", "says", "system", "unit"]
)

DEFAULTS: Mapping[str, str] = MappingProxyType({"call_type": "other", "why": "unknown", "compressor_type": "unknown"})
"""What an unknown word becomes (with a flag); a column that isn't here refuses it or is left blank."""

REFUSES_UNKNOWN = ("stage", "component", "method")
"""Columns of readings in which an unknown word makes the row unusable."""


def understand_word(column: Column, written: str) -> str | None:
    """Return the contract's word for what was written, None where it isn't known.

    ``written`` may be in any case, spacing and punctuation; components follow ``fleet.trade.components``.
    """
    if column.kind == "component":
        return to_component(written)
    bare = " ".join(written.lower().replace("_", " ").split())
    if bare in column.words:
        return bare
    name = column.name.removeprefix("part_")
    known, plain = _known(name), plain_word(written)
    meant = known.get(bare) or known.get(plain) or _known_by_words(name).get(_telling(name, plain), None)
    return meant if meant in column.words else None


def plain_word(written: str) -> str:
    """Return a word without case, accents and punctuation, single spaces; ``A/C`` and ``A.C.`` are ``ac``."""
    text = unicodedata.normalize("NFKD", written.casefold())
    text = "".join(letter for letter in text if not unicodedata.combining(letter)).replace("'", "").replace("’", "")
    text = re.sub(r"\b(\w)[/.](\w)\b\.?", r"\1\2", text.replace("(s)", "s"))
    return " ".join(re.sub(r"[\W_]+", " ", text).split())


def _telling(name: str, plain: str) -> frozenset[str]:
    """Return the words of a phrase that tell: "very loud" says no more than "loud", whatever the order."""
    return frozenset(plain.split()) - _SMALL - (_ABOUT_THE_UNIT if name == "call_type" else frozenset())


@lru_cache(maxsize=32)
def _known_by_words(name: str) -> Mapping[frozenset[str], str]:
    """Return the telling words of every known phrase with what it means; those that could mean two are left out."""
    meanings: dict[frozenset[str], set[str]] = {}
    for plain, word in _known(name).items():
        telling = _telling(name, plain)
        # what is left of "no ac" would be any "no"
        if len(telling) > 1 or " ".join(telling) == plain:
            meanings.setdefault(telling, set()).add(word)
    return MappingProxyType({telling: words.pop() for telling, words in meanings.items() if len(words) == 1})


@lru_cache(maxsize=32)
def _known(name: str) -> Mapping[str, str]:
    """Return every way to write a list's words, as written and plain, with the word it means."""
    lists = WORD_SYNONYMS.get(name, {})
    pairs = [(other, word) for word, others in lists.items() for other in (word, *others)]
    plain = [(plain_word(other), word) for other, word in pairs]
    return MappingProxyType({key: word for key, word in (*reversed(plain), *reversed(pairs)) if key})

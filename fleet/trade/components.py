"""Which component is meant? The list every table uses, and the trade's other words for its members.

Source: the component list is this project's own (log-format); the other words are common practice, no source.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from types import MappingProxyType

NO_FAULT_FOUND = "no fault found"
OTHER = "other"


@dataclass(frozen=True, slots=True)
class Component:
    """One component a finding or a part may name.

    Attributes
    ----------
    name : str
        The name used in every table.
    is_part : bool
        Whether a part of it can be fitted (a dirty coil is cleaned, a clogged drain is cleared).
    counts_as_failure : bool
        Whether a finding or a failed part that names it can be a failure of the unit.
    """

    name: str
    is_part: bool
    counts_as_failure: bool


COMPONENTS = (
    Component("run capacitor", is_part=True, counts_as_failure=True),
    Component("hard start", is_part=True, counts_as_failure=True),
    Component("contactor", is_part=True, counts_as_failure=True),
    Component("fan motor", is_part=True, counts_as_failure=True),
    Component("compressor", is_part=True, counts_as_failure=True),
    Component("blower motor", is_part=True, counts_as_failure=True),
    Component("thermostat", is_part=True, counts_as_failure=True),
    Component("transformer", is_part=True, counts_as_failure=True),
    Component("control board", is_part=True, counts_as_failure=True),
    Component("breaker or disconnect", is_part=True, counts_as_failure=True),
    Component("wiring", is_part=True, counts_as_failure=True),
    Component("refrigerant leak", is_part=True, counts_as_failure=True),
    Component("metering device", is_part=True, counts_as_failure=True),
    Component("dirty coil", is_part=False, counts_as_failure=True),
    Component("dirty filter", is_part=True, counts_as_failure=True),
    Component("drain clog", is_part=False, counts_as_failure=True),
    Component(NO_FAULT_FOUND, is_part=False, counts_as_failure=False),
    Component(OTHER, is_part=True, counts_as_failure=True),
)
"""Every component a finding may name, in the order shown to people."""

PART_ONLY = (
    Component("whole unit", is_part=True, counts_as_failure=False),
    Component("portable cooler", is_part=True, counts_as_failure=False),
    Component("refrigerant", is_part=True, counts_as_failure=False),
)
"""Kinds that occur only among parts, in the catalogue and on the shelf: never a failure of their own."""

COMPONENT_BY_NAME = MappingProxyType({component.name: component for component in COMPONENTS + PART_ONLY})

_WORDS = {
    "run capacitor": """
        cap; caps; capacitor; run cap; dual cap; dual capacitor; dual run cap; dual run capacitor; motor run capacitor;
        motor run cap; run capacitor dual; cap dual; cap run; capacitor run; single cap; single run capacitor;
        round cap; oval cap; fan cap; fan capacitor; fan motor capacitor; herm cap; compressor capacitor;
        compressor cap; bad cap; bad capacitor; weak cap; weak capacitor; blown cap; blown capacitor;
        capacitator; capaciter; capasitor; condenser cap""",
    "hard start": """
        start kit; hard start kit; hardstart; hardstart kit; hsk; hs kit; start cap; start capacitor; cap start;
        capacitor start; motor start capacitor; start assist; start device; start relay; potential relay;
        compressor start kit; start capacitor kit; soft start""",
    "contactor": """
        contact; contacts; contactor relay; single pole contactor; 1 pole contactor; 2 pole contactor;
        two pole contactor; compressor contactor; condenser contactor; pitted contactor; pitted contacts;
        burnt contacts; contactor coil""",
    "fan motor": """
        fan; cfm; condenser fan; condenser fan motor; cond fan; cond fan motor; cond fan mtr; condenser motor;
        fan mtr; outdoor fan; outdoor fan motor; outdoor motor; od fan; od fan motor; odfm; ofm; outside fan;
        outside fan motor; fan motor condenser; condenser fan mtr; cond motor""",
    "compressor": """
        comp; compr; compresser; cmpr; bad compressor; locked compressor; locked rotor; seized compressor;
        grounded compressor; shorted compressor; compressor motor; scroll compressor; rotary compressor;
        reciprocating compressor; hermetic compressor""",
    "blower motor": """
        blower; blower mtr; indoor fan; indoor fan motor; indoor blower; indoor blower motor; evap fan;
        evap fan motor; evaporator fan; evaporator fan motor; air handler motor; ahu motor; blower fan motor;
        blower assembly; inside fan motor; id fan motor; indoor motor; ecm blower motor""",
    "thermostat": """
        stat; t stat; tstat; thermostat batteries; stat batteries; dead batteries; room thermostat;
        wall thermostat; thermostat setting; thermostat wiring""",
    "transformer": "xfmr; xformer; trans; control transformer; low voltage transformer; step down transformer",
    "control board": """
        board; circuit board; pc board; pcb; pcboard; main board; defrost board;
        fan control board; electronic board; ecb; time delay relay; time delay; control relay""",
    "breaker or disconnect": """
        breaker; breakers; circuit breaker; tripped breaker; breaker tripped; disconnect; disconnects; disco;
        disconnect box; fused disconnect; pull out; pullout; pull out disconnect; fuse; fuses; blown fuse;
        disconnect or breaker; breaker disconnect; breaker and disconnect; ac disconnect; non fused disconnect""",
    "wiring": """
        wire; wires; loose wire; burnt wire; burned wire; broken wire; bad wire; wiring issue; loose connection;
        bad connection; wire connection; terminal; terminals; burnt terminal; burnt lead; whip; wire harness;
        harness; low voltage wire; low voltage wiring; control wire; control wiring; stat wire; thermostat wire;
        low voltage short; chewed wire; compressor terminal; compressor plug; wire nut""",
    "refrigerant leak": """
        leak; leaks; freon leak; gas leak; ref leak; refrigerant low; low refrigerant; low on refrigerant; low freon;
        low on freon; low gas; low charge; undercharge; undercharged; coil leak; evap leak; evap coil leak;
        evaporator leak; evaporator coil leak; condenser leak; condenser coil leak; line set leak; lineset leak;
        leaking coil; schrader; schrader core; schrader leak; valve core; service valve leak; out of freon;
        no freon; out of refrigerant; refrigerant charge""",
    "metering device": """
        metering; txv; tev; tx valve; thermal expansion valve; thermostatic expansion valve; expansion valve; exv;
        eev; electronic expansion valve; piston; orifice; fixed orifice; cap tube; capillary; capillary tube;
        restriction; plugged txv; stuck txv""",
    "dirty coil": """
        coil dirty; dirty condenser; dirty condenser coil; condenser coil dirty; dirty evaporator;
        dirty evaporator coil; dirty evap; dirty evap coil; dirty coils; coil cleaning; cleaned coil; clean coil;
        plugged coil; clogged coil; dirty outdoor coil; dirty indoor coil; blocked coil; coil clogged""",
    "dirty filter": """
        filter; filters; air filter; filter dirty; dirty filters; clogged filter; plugged filter; filter change;
        changed filter; restricted filter; filter clogged""",
    "drain clog": """
        drain; drain line; clogged drain; drain clogged; clogged drain line; plugged drain; plugged drain line;
        condensate; condensate drain; condensate line; condensate clog; drain blocked; blocked drain; drain pan;
        clogged condensate line; clogged condensate drain; drain stoppage; drain backup""",
    NO_FAULT_FOUND: """
        nff; no fault; no problem found; npf; no problem; nothing wrong; nothing found; ntf; no trouble found;
        no issue; no issues; no issue found; no issues found; ok on arrival; working on arrival; unit ok; system ok;
        operating normally; working properly; works fine; cnd; could not duplicate; no defect found; none found;
        ok at time of visit; no fault found""",
    OTHER: "misc; miscellaneous; something else",
    "whole unit": """
        unit; complete unit; condensing unit; condenser unit; new unit; new condensing unit; replacement unit;
        outdoor unit; new condenser; whole condensing unit; unit replacement; complete condensing unit""",
    "portable cooler": """
        portable; portable ac; portable a c; portable unit; portable air conditioner; portable coolers; spot cooler;
        loaner; loaner ac; loaner unit; portable cooling unit""",
    "refrigerant": """
        freon; ref; refrig; r22; r 22; r32; r 32; r410a; r 410a; r 410 a; 410a; r407c; r 407c; r454b; r 454b; r134a;
        r 134a; r 421a; r421a""",
}


def _synonyms() -> dict[str, str]:
    words = {name: name for name in COMPONENT_BY_NAME}
    for name, text in _WORDS.items():
        words.update({" ".join(word.split()): name for word in text.split(";")})
    return words


component_synonyms = MappingProxyType(_synonyms())
"""Every known word, lower case and without punctuation, with the component it means; names map to themselves."""

# A rating written beside the name says nothing about which component it is: 45/5 uF 440 V, 24 VAC, 30 A, 1/6 hp.
# The micro sign is the Greek letter after case folding.
_RATING = re.compile(r"\b\d+(\s\d+)*\s?(uf|μf|mfd|mf|microfarads?|v|vac|vdc|volts?|a|amps?|hp|rpm|tons?|pole|p)?\b")


# What somebody says of a part beside its name; "ok" and "good" aren't among them: they say that it wasn't at fault.
_CONDITION = (
    "bad|failed|failing|new|replaced|replace|changed|needs|defective|faulty|dead|weak|burnt|burned|blown|seized|stuck|"
    "shorted|open|broken|worn|cracked|swollen|leaking|out|up|went|gone|is|was"
)
_BEFORE = re.compile(rf"^(?:(?:the|a|an|{_CONDITION}) )+(?=\w)")
_BEHIND = re.compile(rf"(?: (?:{_CONDITION}))+$")


def to_component(word: str | None) -> str | None:
    """Name the component a word of the trade means.

    Parameters
    ----------
    word : str or None
        What the log says, in any case, spacing and punctuation; a rating beside it ("45/5 440V dual cap"),
        an article, a plural or its condition ("contactor burnt") doesn't matter.

    Returns
    -------
    str or None
        A name of `COMPONENTS` or `PART_ONLY`; None for a word not known (the caller keeps it as ``other``
        with its own word) and for a blank.
    """
    if word is None:
        return None
    plain = _plain(word)
    unrated = " ".join(_RATING.sub(" ", plain).split())
    for said in (plain, unrated):
        before, behind = _BEFORE.sub("", said), _BEHIND.sub("", said)
        for text in (said, before, behind, _BEHIND.sub("", before)):
            for candidate in (text, text.removesuffix("s")):
                if candidate in component_synonyms:
                    return component_synonyms[candidate]
    return None


def _plain(word: str) -> str:
    """Lower case, punctuation to spaces, single spaces."""
    return " ".join(re.sub(r"[^\w]+|_", " ", word.casefold().replace("'", "")).split())

"""What must be said before anyone touches this? Caution sentences, with what each rests on.

Every sentence is advice for qualified people; local codes, license and permit rules and the maker's instructions
come first. ``basis`` names the text a sentence follows, or says "common practice, no source"; a regulation marked
"from memory" was not re-read and isn't to be quoted.
"""

from __future__ import annotations

from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

Topic = Literal["general", "capacitor", "contactor", "compressor", "refrigerant", "breaker", "live test", "heat"]

_PRACTICE = "common practice, no source"
_STATE_RULE = "WAC 296-24-975 (state rule, read), same wording family as 29 CFR 1910.333(b)(2)"


@dataclass(frozen=True, slots=True)
class Caution:
    """One sentence of caution, the topic it belongs to and what it rests on."""

    topic: Topic
    text: str
    basis: str


CAUTIONS = (
    Caution(
        "general",
        "This is advice for a qualified person: local codes, license and permit rules and the equipment maker's "
        "instructions come first.",
        _PRACTICE,
    ),
    Caution(
        "general",
        "Open the disconnect, lock and tag it, and prove the absence of voltage with a tester checked on a known live "
        "source before and after.",
        "29 CFR 1910.147 and 1910.333 (from memory)",
    ),
    Caution(
        "general",
        "A thermostat, switch or other control device is not a means of isolation.",
        _STATE_RULE,
    ),
    Caution(
        "general",
        "Mind hot surfaces, moving fans, roofs and the heat, and let someone know when you work alone.",
        _PRACTICE,
    ),
    Caution(
        "capacitor",
        "A capacitor holds its charge after the power is off: treat it as live until it has been discharged and "
        "measured at its terminals.",
        _STATE_RULE,
    ),
    Caution(
        "capacitor",
        "Discharge it through a resistor (15 to 20 kilohms, 2 to 5 watts), not with a screwdriver, and do all three "
        "terminal pairs of a dual capacitor.",
        _PRACTICE,
    ),
    Caution(
        "capacitor",
        "A small run capacitor usually has no bleed resistor of its own; measure before you touch, at most 50 volts.",
        "common practice, no source; the 50 volts after NEC 460.6 (from memory)",
    ),
    Caution(
        "capacitor",
        "Fit the same rated microfarads in each section and volts equal or higher; never swap run and start.",
        "several trade pages; no standard read",
    ),
    Caution(
        "contactor",
        "An open single-pole contactor still leaves one leg live through to the windings and the capacitor: it is "
        "never isolation, so open and lock the disconnect and prove it dead.",
        _PRACTICE,
    ),
    Caution(
        "compressor",
        "Never energize a compressor with its terminal cover off or its terminals burnt: a terminal can blow out and "
        "spray burning oil.",
        "trade article on compressor misdiagnosis (read in a secondary page)",
    ),
    Caution(
        "compressor",
        "Before condemning a locked compressor, seek a weak start assist, a burnt lead or an overload that hasn't "
        "cooled; opening the circuit is work for certified persons.",
        "trade article on compressor misdiagnosis (read in a secondary page)",
    ),
    Caution(
        "refrigerant",
        "Only certified persons may open the refrigerant circuit; venting is prohibited; local rules may be stricter.",
        "Clean Air Act section 608, 40 CFR part 82 (secondary pages)",
    ),
    Caution(
        "refrigerant",
        "Refrigerant can cause frostbite, burst under pressure and displace air; never mix refrigerants.",
        _PRACTICE,
    ),
    Caution(
        "refrigerant",
        "Newer units may hold a mildly flammable refrigerant (class A2L, R-32 or R-454B for instance): no ignition "
        "sources, air moving, tools and leak detector rated for it, and people trained on it.",
        "classes of ASHRAE Standard 34 (secondary pages); the rest common practice, no source",
    ),
    Caution(
        "refrigerant",
        "Adding refrigerant without finding the leak is not a repair.",
        _PRACTICE,
    ),
    Caution(
        "breaker",
        "Reset a tripped breaker once at most, and only after its cause has been sought.",
        _PRACTICE,
    ),
    Caution(
        "breaker",
        "The line side of a breaker or disconnect stays live when it is open; work there is for licensed persons.",
        _PRACTICE,
    ),
    Caution(
        "live test",
        "Measuring under load is live work: for qualified persons with protective equipment only; a bench test with "
        "the part isolated and discharged is the safer choice.",
        "NFPA 70E (from memory)",
    ),
    Caution(
        "heat",
        "A hot home can make its residents ill, old and sick people and small children first: ask after them when the "
        "call comes in, offer a cooler place or a portable cooler, and go to priority homes first.",
        _PRACTICE,
    ),
    Caution(
        "heat",
        "Someone confused, faint or very hot to the touch needs the emergency services at once: heat stroke can kill.",
        "public health guidance on heat illness (from memory)",
    ),
)
"""Every caution, most general first."""

_TOPICS: MappingProxyType[str, tuple[Topic, ...]] = MappingProxyType(
    {
        "run capacitor": ("capacitor",),
        "hard start": ("capacitor", "compressor"),
        "contactor": ("contactor", "capacitor"),
        "fan motor": ("capacitor",),
        "blower motor": ("capacitor",),
        "compressor": ("compressor", "capacitor", "refrigerant"),
        "breaker or disconnect": ("breaker",),
        "wiring": ("contactor", "capacitor"),
        "control board": ("capacitor",),
        "refrigerant leak": ("refrigerant",),
        "metering device": ("refrigerant",),
        "refrigerant": ("refrigerant",),
        "whole unit": ("capacitor", "refrigerant", "breaker"),
    }
)


def cautions_on(*topics: Topic) -> tuple[Caution, ...]:
    """Give the cautions on these topics, in the order of the topics asked for."""
    return tuple(caution for topic in topics for caution in CAUTIONS if caution.topic == topic)


def cautions_for(component: str | None) -> tuple[Caution, ...]:
    """Give the cautions to show with work on a component: its own first, then the general ones.

    Parameters
    ----------
    component : str or None
        A name of `fleet.trade.components`; unknown names and None get the general cautions.
    """
    return cautions_on(*_TOPICS.get(component or "", ()), "general")

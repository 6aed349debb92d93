"""Which repeats in a unit's log point at a cause, and what should be looked at? The rules, with what each rests on.

A rule speaks only when its events came at least ``fewest`` times in the years looked back over, that many would come by
chance at most one time in twenty, and nothing it points at was worked on since the first of them.
"""

from __future__ import annotations

from dataclasses import dataclass

from fleet.trade.cautions import Topic

LOOK_BACK_YEARS = 3.0
"""Years of the log that count as evidence (this project's own choice, no source)."""

LARGEST_CHANCE = 0.05
"""So many events would come by chance, at the fleet's rate, at most this often."""

PRACTICE = "common practice, no source"
_START_NOTE = (
    "low line voltage, over-duty and a switch that fails to open are named among what kills start capacitors in a "
    "component distributor's note (read in a secondary page); looking for them in this order is common practice, no "
    "source"
)
_HEAT = "a capacitor lives half as long for each 10 °C it is warmer (common practice, no source)"
_CHECKLIST = (
    "clean coils are on the spring checklist of a public energy program (read in a secondary page); a coil that fouls "
    "again points at its surroundings: common practice, no source"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class CauseRule:
    """One pattern of repeats and the cause it may point at.

    Attributes
    ----------
    hint : str
        The cause that may be behind it, as a clause.
    kinds : tuple of str
        Events that count together (kinds of ``history.cause_event``).
    fewest : int
        How many are needed.
    after : str
        A kind that must have come first; only later events count then.
    unless : tuple of str
        Components any of which, worked on since the first event, silences the hint: it was looked at.
    unless_fitted : tuple of str
        Components of which a part fitted since the first event silences it.
    look_at : str
        What to look at, as an order.
    basis : str
        What the rule rests on.
    topics : tuple of str
        Topics of the usual cautions that apply.
    """

    hint: str
    kinds: tuple[str, ...]
    fewest: int
    after: str = ""
    unless: tuple[str, ...] = ()
    unless_fitted: tuple[str, ...] = ()
    look_at: str
    basis: str
    topics: tuple[Topic, ...]


RULES = (
    CauseRule(
        hint="a weak start, perhaps from low line voltage",
        kinds=("hard start",),
        fewest=2,
        unless=("wiring", "breaker or disconnect"),
        look_at="Measure line voltage at the disconnect while the compressor starts, and the voltage lost over lugs, "
        "breaker and contactor; see whether the start relay lets go.",
        basis=_START_NOTE,
        topics=("capacitor", "live test", "breaker"),
    ),
    CauseRule(
        hint="a fan motor that runs hot or slow and heats the capacitor beside it",
        kinds=("run capacitor",),
        fewest=2,
        unless=("fan motor",),
        look_at="Measure the fan motor's current against its plate, feel its bearings, look at the blade and at the "
        "air way over the capacitor.",
        basis=_HEAT,
        topics=("capacitor", "live test"),
    ),
    CauseRule(
        hint="capacitors that die young: heat, too few volts of rating, or a wrong part",
        kinds=("early capacitor",),
        fewest=2,
        look_at="Compare rated microfarads and volts of the part fitted with the data plate, and its lot with the list "
        "of lots; measure line voltage.",
        basis=PRACTICE,
        topics=("capacitor", "live test"),
    ),
    CauseRule(
        hint="a leak that was topped up and never found",
        kinds=("topped up",),
        fewest=3,
        unless_fitted=("refrigerant leak",),
        look_at="Find the leak before the next ounce goes in: coil, flare and braze joints, valve cores.",
        basis="adding refrigerant without finding the leak is not a repair: common practice, no source",
        topics=("refrigerant",),
    ),
    CauseRule(
        hint="a hard-start kit that hides a tight compressor",
        kinds=("hard start", "breaker trip", "breaker or disconnect", "compressor"),
        fewest=2,
        after="kit added",
        unless=("compressor",),
        look_at="Measure the compressor's starting and running current against its plate and its windings to ground; "
        "the kit got it going, it did not mend it.",
        basis="a start kit that covers a weak capacitor or a tight compressor is a warning sign, not a repair: "
        + PRACTICE,
        topics=("compressor", "capacitor", "live test"),
    ),
    CauseRule(
        hint="control voltage that sags or a thermostat that chatters, wearing contactors out",
        kinds=("contactor",),
        fewest=2,
        unless=("transformer", "thermostat", "wiring"),
        look_at="Measure the 24 volts at the coil while it pulls in, look for loose control wires, count starts per "
        "hour and see whether insects get at the contacts.",
        basis=PRACTICE,
        topics=("contactor", "live test"),
    ),
    CauseRule(
        hint="a coil that fouls again because of where it stands",
        kinds=("dirty coil",),
        fewest=2,
        look_at="Look for a dryer vent, mowing, cottonwood, pets or a filter left out; clear the sides and clean it on "
        "the spring round.",
        basis=_CHECKLIST,
        topics=("general",),
    ),
    CauseRule(
        hint="a drain that was cleared and never put right",
        kinds=("drain clog",),
        fewest=2,
        look_at="Check the drain's fall, its trap and the pan, and whether the filter lets dust through.",
        basis=PRACTICE,
        topics=("general",),
    ),
    CauseRule(
        hint="a fault that comes and goes: it works when someone looks",
        kinds=("no fault found",),
        fewest=2,
        unless=("wiring", "thermostat"),
        look_at="Tug every control wire, look at the thermostat's settings and batteries, and stay through a full hot "
        "cycle: an overload that trips when hot is cool by the time of the visit.",
        basis=PRACTICE,
        topics=("live test",),
    ),
    CauseRule(
        hint="a breaker that trips for a reason nobody wrote down",
        kinds=("breaker trip", "breaker or disconnect"),
        fewest=2,
        unless=("compressor", "run capacitor", "hard start", "wiring"),
        look_at="Before it is reset again, measure starting current, windings to ground and both capacitor sections, "
        "and look for heat at the lugs.",
        basis="a tripped breaker is reset once at most, after its cause is sought: " + PRACTICE,
        topics=("breaker", "compressor", "live test"),
    ),
)
"""Every rule, in the order shown where two are as surprising."""

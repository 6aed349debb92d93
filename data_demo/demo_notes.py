"""What a tired person types after a visit: short invented notes by component, with commas, quotes and line breaks."""

from __future__ import annotations

CALL_TYPES: dict[str, tuple[tuple[str, float], ...]] = {
    "run capacitor": (("no cooling", 0.8), ("poor cooling", 0.12), ("noise", 0.08)),
    "contactor": (("no cooling", 0.8), ("noise", 0.15), ("poor cooling", 0.05)),
    "fan motor": (("no cooling", 0.6), ("noise", 0.25), ("poor cooling", 0.15)),
    "compressor": (("no cooling", 0.75), ("breaker trip", 0.25)),
    "hard start": (("no cooling", 0.6), ("breaker trip", 0.3), ("noise", 0.1)),
    "breaker or disconnect": (("breaker trip", 0.7), ("no cooling", 0.3)),
    "wiring": (("no cooling", 0.7), ("breaker trip", 0.3)),
    "refrigerant leak": (("poor cooling", 0.7), ("no cooling", 0.3)),
    "metering device": (("poor cooling", 1.0),),
    "dirty coil": (("poor cooling", 0.8), ("no cooling", 0.2)),
    "dirty filter": (("poor cooling", 0.7), ("water leak", 0.15), ("no cooling", 0.15)),
    "drain clog": (("water leak", 0.85), ("no cooling", 0.15)),
    "no fault found": (("poor cooling", 0.45), ("no cooling", 0.25), ("noise", 0.2), ("other", 0.1)),
}
ANY_CALL: tuple[tuple[str, float], ...] = (("no cooling", 0.85), ("other", 0.15))

NOTES: dict[str, tuple[str, ...]] = {
    "run capacitor": (
        "cap swollen, swapped it. running when left",
        "cap open on herm side, compressor humming. new cap, ok",
        'res says "blows warm since Sat". fan side dead',
        "top bulged & oily\nchanged, checked amps",
        "new cap, amps good, supply 55",
        "capacitor bad again?? check this one next spring",
        "Fan not starting, spun it w/ a stick and it ran. cap.",
    ),
    "contactor": (
        "ants in contactor, changed",
        "points welded, unit ran all night",
        'chattering, coil weak. res heard "buzzing"',
        "pitted bad, swapped\n24v ok",
        "contactor stuck open. line voltage 243",
    ),
    "fan motor": (
        "outdoor fan seized, motor hot",
        "bearing noise, changed motor + blade ok",
        "fan motor shorted, breaker ok, new one in",
        "motor slow when hot",
    ),
    "compressor": (
        "comp locked, tried start assist, no go",
        "grounded to case, leads burnt. cover stays on",
        "comp open winding, let it cool 2 hrs, same",
    ),
    "hard start": (
        "start cap vented, new kit",
        "relay stuck, kit changed",
        "hums then trips, kit dead, new one",
        'kit bad. lights dim when it starts, per res "every time"',
    ),
    "thermostat": (
        "stat blank, new batteries + stat",
        "stat reading 6 off",
        'res had it on "hold", showed her. stat flaky tho, changed',
    ),
    "control board": ("board burnt at relay", "no output from board, swapped", "board bad, lizard across it"),
    "transformer": ("no 24v, transformer open", "shorted low volt wire took transformer out\nfixed wire, new xfmr"),
    "breaker or disconnect": (
        "pull-out disconnect burnt one leg",
        "breaker weak, trips at 18 amps",
        "reset once, trips. changed",
    ),
    "wiring": (
        "burnt spade at comp, cut back + new end",
        "weed trimmer got the low volt",
        "loose lug in disconnect, tightened",
    ),
    "refrigerant leak": (
        "low, leak at flare, remade & topped off",
        "oil at coil, added some, needs coil someday",
        "iced up, thawed, low on charge\nfound leak at service port core",
        "leak not found, topped off, come back w/ sniffer",
    ),
    "metering device": ("restricted, changed", "hunting bad, swapped it"),
    "blower motor": (
        "blower dead, heat dont work either",
        "squeal, bearings, changed motor",
        "blower wont start, module gone",
    ),
    "dirty coil": (
        "coil matted w/ cottonwood, washed",
        "head pressure high, cleaned coil",
        "dryer vent blows on it, packed lint",
    ),
    "dirty filter": (
        "filter black, changed, thawed coil",
        "no filter at all!! coil filthy",
        "filter collapsed, told res monthly",
    ),
    "drain clog": (
        "drain plugged, blew out, tabs in pan",
        "pan overflow, ceiling wet in unit below, told office",
        "vac drain",
    ),
    "no fault found": (
        "running fine when I got there, 18 split",
        'res says "not cold", stat set to 78, its 104 outside',
        "couldnt make it act up",
        "ok on arrival, all checks good",
    ),
    "preventive maintenance": (
        "ok",
        "washed coil, filter, caps ok",
        "spring check done",
        "tightened lugs, filter",
        "fan side a little low, watch it",
        "",
        "",
        "",
    ),
    "turnover": ("make ready", "checked, filter, ok", "vacant, runs", ""),
    "no access": ("no answer, dog", "nobody home, left tag", "chain on door, no answer", "kid home alone, didnt go in"),
    "waiting": (
        "part ordered",
        "none on shelf, ordered",
        "not in shop, waiting. gave res the portable",
        "supply house out, thurs",
    ),
    "callback": (
        "back again, loose spade, crimped",
        "same complaint, found it this time",
        "came back, redid it",
        "again...",
    ),
    "replaced": (
        "new condenser set, vac 500 mic, charged",
        "changed out unit\nold one to scrap",
        "swap done, permit w/ office",
    ),
    "program": ("planned changeout",),
}

"""The component list and the trade's other words for it."""

import pytest

from fleet.trade.components import (
    COMPONENT_BY_NAME,
    COMPONENTS,
    NO_FAULT_FOUND,
    OTHER,
    PART_ONLY,
    component_synonyms,
    to_component,
)


def test_the_list_is_that_of_the_log_format():
    assert [component.name for component in COMPONENTS] == [
        "run capacitor", "hard start", "contactor", "fan motor", "compressor", "blower motor", "thermostat",
        "transformer", "control board", "breaker or disconnect", "wiring", "refrigerant leak", "metering device",
        "dirty coil", "dirty filter", "drain clog", "no fault found", "other",
    ]  # fmt: skip
    assert [component.name for component in PART_ONLY] == ["whole unit", "portable cooler", "refrigerant"]


def test_what_can_fail_and_what_can_be_fitted():
    assert {c.name for c in COMPONENTS if not c.counts_as_failure} == {NO_FAULT_FOUND}
    assert not any(c.counts_as_failure for c in PART_ONLY)
    assert {c.name for c in COMPONENTS if not c.is_part} == {"dirty coil", "drain clog", NO_FAULT_FOUND}
    assert COMPONENT_BY_NAME[OTHER].counts_as_failure


@pytest.mark.parametrize(
    ("word", "component"),
    [
        ("cap", "run capacitor"),
        ("Dual Cap", "run capacitor"),
        ("CAPACITOR", "run capacitor"),
        ("run-cap", "run capacitor"),
        ("45/5 440V dual cap", "run capacitor"),
        ("45 µF run capacitor", "run capacitor"),
        ("5 uF fan cap", "run capacitor"),
        ("start kit", "hard start"),
        ("Hard-Start Kit", "hard start"),
        ("start capacitor", "hard start"),
        ("HSK", "hard start"),
        ("potential relay", "hard start"),
        ("condenser fan motor", "fan motor"),
        ("CFM", "fan motor"),
        ("fan mtr", "fan motor"),
        ("1/6 HP fan motor", "fan motor"),
        ("Comp.", "compressor"),
        ("T-Stat", "thermostat"),
        ("24V transformer", "transformer"),
        ("board", "control board"),
        ("breaker/disconnect", "breaker or disconnect"),
        ("disconnects", "breaker or disconnect"),
        ("2 pole 30A contactor", "contactor"),
        ("loose wire", "wiring"),
        ("freon leak", "refrigerant leak"),
        ("low charge", "refrigerant leak"),
        ("TXV", "metering device"),
        ("dirty condenser coil", "dirty coil"),
        ("filters", "dirty filter"),
        ("clogged drain line", "drain clog"),
        ("NFF", NO_FAULT_FOUND),
        ("no problem found", NO_FAULT_FOUND),
        ("condensing unit", "whole unit"),
        ("the new unit", "whole unit"),
        ("portable AC", "portable cooler"),
        ("R-410A", "refrigerant"),
        ("freon", "refrigerant"),
        ("contactor burnt", "contactor"),
        ("capacitor went bad", "run capacitor"),
        ("Fan motor seized!", "fan motor"),
        ("needs new 45/5 cap", "run capacitor"),
        ("dead thermostat", "thermostat"),
    ],
)
def test_words_of_the_trade(word, component):
    """Common practice, no source."""
    assert to_component(word) == component


@pytest.mark.parametrize(
    "word",
    [
        None,
        "",
        "  ",
        "--",
        "contactor ok",
        "cap good",
        "bad",
        "replaced",
        "evaporator coil",
        "squirrel",
        "440 V",
        "the",
    ],
)
def test_a_word_not_known_is_none(word):
    assert to_component(word) is None


def test_every_synonym_is_plain_and_finds_its_component():
    for word, name in component_synonyms.items():
        assert word == " ".join(word.lower().split())
        assert name in COMPONENT_BY_NAME
        assert to_component(word) == name
        assert to_component(word.upper().replace(" ", "_")) == name

"""Cautions: every component gets some, and the ones that can hurt most get their own."""

import pytest

from fleet.trade.cautions import CAUTIONS, cautions_for, cautions_on
from fleet.trade.components import COMPONENT_BY_NAME


def texts(component):
    return " ".join(caution.text for caution in cautions_for(component))


@pytest.mark.parametrize("component", [*COMPONENT_BY_NAME, "squirrel", None])
def test_everything_defers_to_local_codes_and_licensed_practice(component):
    assert "local codes, license and permit rules" in texts(component)
    assert "disconnect, lock and tag" in texts(component)


@pytest.mark.parametrize(
    ("component", "phrase"),
    [
        ("run capacitor", "discharged and measured at its terminals"),
        ("hard start", "through a resistor"),
        ("fan motor", "holds its charge"),
        ("contactor", "single-pole contactor still leaves one leg live"),
        ("compressor", "terminal can blow out"),
        ("refrigerant leak", "certified persons"),
        ("whole unit", "venting is prohibited"),
        ("breaker or disconnect", "once at most"),
    ],
)
def test_each_danger_is_said_where_it_lies(component, phrase):
    assert phrase in texts(component)


def test_own_cautions_come_before_the_general_ones():
    topics = [caution.topic for caution in cautions_for("compressor")]
    assert topics[0] == "compressor"
    assert topics[-1] == "general"


def test_a_filter_gets_only_the_general_ones():
    assert {caution.topic for caution in cautions_for("dirty filter")} == {"general"}


def test_live_tests_have_a_caution_of_their_own():
    assert "live work" in cautions_on("live test")[0].text


def test_mildly_flammable_refrigerants_are_named_with_what_they_ask_for():
    said = " ".join(caution.text for caution in cautions_on("refrigerant"))
    assert "mildly flammable" in said
    assert "A2L" in said
    assert "no ignition sources" in said


def test_a_hot_home_asks_after_people_and_calls_for_help():
    said = " ".join(caution.text for caution in cautions_on("heat"))
    assert "priority homes first" in said
    assert "emergency services" in said


def test_every_caution_is_a_whole_sentence_with_its_basis():
    for caution in CAUTIONS:
        assert caution.text[0].isupper()
        assert caution.text.endswith(".")
        assert caution.basis
    assert len({caution.text for caution in CAUTIONS}) == len(CAUTIONS)
    assert {caution.topic for caution in CAUTIONS} == {
        "general", "capacitor", "contactor", "compressor", "refrigerant", "breaker", "live test", "heat",
    }  # fmt: skip


def test_what_was_not_reread_says_so():
    for caution in CAUTIONS:
        if "NEC" in caution.basis or "NFPA" in caution.basis or "1910.147" in caution.basis:
            assert "from memory" in caution.basis

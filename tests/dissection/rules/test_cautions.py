"""A step brings up its cards; recipe and state underline them; what is not known is never harmless."""

import json
import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

import teardown.dissection
from teardown.dissection.rules.cards import CARDS
from teardown.dissection.rules.cautions import HEADER, Situation, acid_is_offered, bring_up
from teardown.science.electrolyte.gas import molar_volume_L

SHIPPED = json.loads(
    (Path(teardown.dissection.__file__).parent / "cautions.json").read_text(encoding="utf-8")
)
RULES = [(card["key"], card["rule"]) for card in SHIPPED]


def keys(step, constituents=(), states=(), known=True):
    situation = Situation(step, frozenset(constituents) if known else None, frozenset(states))
    return {raised.key: raised for raised in bring_up(RULES, situation)}


def test_alkali_comes_up_at_every_step():
    assert all("alkali" in keys(card.cautions) for card in CARDS)


def test_sulfide_in_the_recipe_puts_its_card_first_at_the_titration():
    raised = bring_up(RULES, Situation("titrate", frozenset({"K", "Bi", "S"})))
    assert raised[0].key == "hydrogen_sulfide"
    assert raised[0].because == "the recipe holds S"


def test_the_card_of_a_step_comes_up_whatever_the_recipe_says():
    assert "hydrogen_sulfide" in keys("titrate", ["K"])
    assert not keys("titrate", ["K"])["hydrogen_sulfide"].underlined


@pytest.mark.parametrize("step", ["dry", "grind", "cut", "separate"])
def test_self_heating_comes_up_wherever_iron_meets_air(step):
    assert "self_heating" in keys(step, ["K"])
    assert keys(step, ["K"], ["charged"])["self_heating"].because == "the cell is charged"


def test_a_constituent_brings_up_its_own_card():
    assert "lithium_hydroxide" in keys("electrolyte", ["K", "Li"])
    assert "lithium_hydroxide" not in keys("electrolyte", ["K"])


@given(
    st.sampled_from([card.cautions for card in CARDS]),
    st.sets(st.sampled_from(["S", "Li", "Ni", "F", "Se", "Hg"])),
)
def test_an_unknown_recipe_brings_up_at_least_what_any_recipe_does(step, constituents):
    assert set(keys(step, constituents)) <= set(keys(step, known=False))


@given(st.sets(st.sampled_from(["S", "Li", "Ni", "F"])), st.sampled_from(["S", "Li", "Ni", "F"]))
def test_one_more_constituent_never_takes_a_card_away(constituents, more):
    assert set(keys("titrate", constituents)) <= set(keys("titrate", {*constituents, more}))


def test_no_acid_is_offered_beside_sulfide_or_the_unknown():
    assert acid_is_offered(frozenset({"K", "Li", "Bi"}))
    assert not acid_is_offered(frozenset({"K", "S"}))
    assert not acid_is_offered(None)


def test_every_card_names_its_source_and_says_what_to_do():
    for card in SHIPPED:
        assert card["source"]
        assert card["facts"]
        assert card["cautions"]
        assert len(card["source"]) <= 200
    assert len({card["key"] for card in SHIPPED}) == len(SHIPPED) == 23


def test_no_card_calls_anything_safe():
    text = " ".join(card["facts"] + card["cautions"] + card["title"] for card in SHIPPED).lower()
    assert not re.search(r"\b(safe|safely|harmless|no danger|may proceed|go ahead)\b", text)
    assert "it permits nothing" in HEADER


@pytest.mark.parametrize(("mol_L", "shown"), [(0.002, "1.0"), (0.01, "4.9"), (0.05, "24"), (0.15, "73")])
def test_the_gas_volumes_on_the_sulfide_card_are_those_of_an_ideal_gas(mol_L, shown):
    """20 mL, 25 °C, 101.325 kPa; molar gas constant from CODATA 2018."""
    facts = next(card["facts"] for card in SHIPPED if card["key"] == "hydrogen_sulfide")
    volume_mL = 20 * mol_L * molar_volume_L(25.0)
    assert float(shown) == pytest.approx(volume_mL, rel=0.03)
    assert f"{shown} mL" in facts

"""What is asked at the bench fits its cards and its scales."""

import pytest

from teardown.dissection.rules.cards import BY_KEY, CARDS
from teardown.dissection.rules.tiers import tiers_of
from teardown.vocabulary.models import Term

pytestmark = pytest.mark.django_db
BESIDE_CARDS = {"timers", "any"}


@pytest.fixture
def asked():
    return list(Term.objects.of("field").prefetch_related("answers"))


def test_every_field_lies_on_a_card_and_every_card_has_at_most_six(asked):
    on = {}
    for term in asked:
        on.setdefault(term.data["card"], []).append(term)
    assert set(on) <= set(BY_KEY) | BESIDE_CARDS
    assert max(len(terms) for card, terms in on.items() if card not in BESIDE_CARDS) <= 7
    assert all(card.key in on for card in CARDS if not card.frames)


def test_a_choice_has_two_to_nine_answers(asked):
    for term in asked:
        number = len(term.answers.all())
        assert (2 <= number <= 9) if term.data["kind"] == "choice" else number == 0, term.key


def test_a_number_has_a_unit_and_what_is_usual_is_possible(asked):
    for term in asked:
        if term.data["kind"] == "number":
            tiers = tiers_of(term.data)
            assert tiers.unit
            for bound in (tiers.usual.low, tiers.usual.high):
                assert bound is None or tiers.possible.holds(bound), term.key


def test_components_named_are_known(asked):
    known = set(Term.objects.of("component").values_list("key", flat=True))
    assert {term.data["component"] for term in asked if "component" in term.data} <= known

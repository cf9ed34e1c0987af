"""A stack of cards as a tablet deals it out."""

import pytest

from teardown.dissection.dossier.cards import Ask, CardShown, Stack
from teardown.dissection.dossier.dealing import MOST_ASKS, beside, dealt
from teardown.dissection.rules.cards import Card


def stack_of(number, **card):
    asks = tuple(Ask(f"t.{at}", f"field {at}", "choice") for at in range(number))
    shown = CardShown(Card("dry", "Dry", **card), asks, (), frozenset({"t.0"}))
    last = CardShown(Card("close", "End"), (), (), frozenset())
    return Stack(None, (shown, last), None, None, (), (), "3x3", 0, (), 1, 0)


@pytest.mark.parametrize("number", range(1, 20))
@pytest.mark.parametrize(
    "card", [{}, {"per": "place"}, {"per": "part"}, {"per": "sample"}, {"per": "part", "component": "FE"}]
)
def test_every_field_lies_on_one_card_in_its_order_and_none_holds_too_many(number, card):
    *parts, _ = dealt(stack_of(number, **card)).cards
    assert [ask.key for part in parts for ask in part.asks] == [f"t.{at}" for at in range(number)]
    assert max(len(part.asks) for part in parts) <= MOST_ASKS
    assert max(len(part.asks) + part.rows_about for part in parts) <= 7
    assert max(len(part.asks) for part in parts) - min(len(part.asks) for part in parts) < len(parts)


def test_a_card_that_fits_stays_as_it_was():
    whole = stack_of(6)
    assert dealt(whole) == whole


def test_what_goes_on_keeps_its_step_and_stands_behind_its_beginning():
    stack = dealt(stack_of(7))
    assert [(shown.card.key, shown.card.step, shown.card.title) for shown in stack.cards] == [
        ("dry", "dry", "Dry, 1 of 2"),
        ("dry-2", "dry", "Dry, 2 of 2"),
        ("close", "close", "End"),
    ]
    assert beside(stack, "dry") == stack.cards[1]
    assert beside(stack, "close") is None
    assert not stack.cards[0].complete

"""The cards as a tablet lays them out: none asks more than fits, whatever a vocabulary adds."""

from collections.abc import Iterator
from dataclasses import replace

from teardown.dissection.dossier.cards import CardShown, Stack, instruments_of
from teardown.dissection.rules.cards import Card

MOST_ASKS, MOST_ROWS = 6, 7
"""Fields on one card, and its rows in all: as many as lie beside the open one, at 19 mm each."""


def dealt(stack: Stack) -> Stack:
    """Deal a stack out: a card that asks more than fits goes on on a card of its own behind it."""
    return replace(stack, cards=tuple(part for shown in stack.cards for part in _parts(shown)))


def beside(stack: Stack, key: str) -> CardShown | None:
    """Give the card that lies behind another, or nothing behind the last."""
    keys = [shown.card.key for shown in stack.cards]
    at = keys.index(key) + 1
    return stack.cards[at] if at < len(keys) else None


def _parts(shown: CardShown) -> Iterator[CardShown]:
    room = min(MOST_ASKS, MOST_ROWS - shown.rows_about - bool(shown.instruments))
    number = max(1, -(-len(shown.asks) // room))
    if number == 1:
        yield shown
        return
    most = -(-len(shown.asks) // number)
    for at in range(1, number + 1):
        asks = shown.asks[(at - 1) * most : at * most]
        yield replace(
            shown,
            card=_part_of(shown.card, at, number),
            asks=asks,
            instruments=instruments_of(asks, shown.instruments),
        )


def _part_of(card: Card, at: int, number: int) -> Card:
    title = f"{card.title}, {at} of {number}"
    if at == 1:
        return replace(card, title=title)
    return replace(card, key=f"{card.key}-{at}", of=card.key, title=title, frames=())

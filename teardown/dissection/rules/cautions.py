"""Which caution cards a step brings up, and which of them the recipe or the state of the cell underlines.

A card reminds and permits nothing. Where the recipe is not known, every card of the step comes up: what is
not known is never taken for harmless.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

HEADER = (
    "Local rules and codes, the safety data sheet and licensed or authorised practice come first. "
    "This card reminds; it permits nothing. No card shown does not mean no hazard."
)
LAST = 100
SULFIDE = frozenset({"S", "sulfide"})
NO_ACID = SULFIDE | {"F", "fluoride", "Se", "As", "Sb"}


@dataclass(frozen=True, slots=True)
class Situation:
    """What is known when a step opens. ``constituents`` is None where the recipe is not known."""

    step: str
    constituents: frozenset[str] | None = None
    states: frozenset[str] = frozenset()
    techniques: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class Raised:
    """A card that came up; ``because`` says in words why it is underlined, or is empty."""

    key: str
    because: str = ""

    @property
    def underlined(self) -> bool:
        """Tell whether recipe or state asks for more attention to it."""
        return bool(self.because)


def bring_up(cards: Iterable[tuple[str, Mapping[str, Any]]], situation: Situation) -> list[Raised]:
    """Choose the cards of a step: underlined ones first, then by their rank.

    Parameters
    ----------
    cards : iterable of (key, rule)
        A rule may name ``steps``, ``techniques``, ``constituents`` and ``states`` that bring the card up
        (missing: any), under ``emphasis`` constituents and states that underline it, and a ``rank``.
    """
    raised = [
        (rule.get("rank", LAST), Raised(key, _because(rule.get("emphasis", {}), situation)))
        for key, rule in cards
        if _comes_up(rule, situation)
    ]
    return [card for _, card in sorted(raised, key=lambda ranked: (not ranked[1].underlined, ranked[0]))]


def acid_is_offered(constituents: frozenset[str] | None) -> bool:
    """Tell whether a card may ask for acid readings: never beside what gives a toxic gas with acid.

    An unknown recipe offers none either.
    """
    return constituents is not None and constituents.isdisjoint(NO_ACID)


def _comes_up(rule: Mapping[str, Any], situation: Situation) -> bool:
    return (
        _meets(rule.get("steps"), {situation.step})
        and _meets(rule.get("techniques"), situation.techniques)
        and (situation.constituents is None or _meets(rule.get("constituents"), situation.constituents))
        and _meets(rule.get("states"), situation.states)
    )


def _meets(wanted: Sequence[str] | None, there: Iterable[str]) -> bool:
    return not wanted or not set(wanted).isdisjoint(there)


def _because(emphasis: Mapping[str, Sequence[str]], situation: Situation) -> str:
    held = sorted(set(emphasis.get("constituents", ())) & (situation.constituents or frozenset()))
    states = sorted(set(emphasis.get("states", ())) & situation.states)
    said = [f"the recipe holds {', '.join(held)}"] if held else []
    if situation.constituents is None and emphasis.get("constituents"):
        said.append("the recipe is not known")
    if states:
        said.append(f"the cell is {', '.join(states)}")
    return "; ".join(said)

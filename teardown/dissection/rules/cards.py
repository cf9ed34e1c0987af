"""The cards of the bench, in the order in which a dissection runs."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

Per = Literal["cell", "part", "place", "sample"]


@dataclass(frozen=True, slots=True)
class Card:
    """One step on one card: its fields are the terms whose data name it, at most six open at a time.

    ``cautions`` is the step by which caution cards know it. ``component`` is what it is about, if one thing.
    ``copies`` says that its answers are set-up, which may be carried over from the cell before. ``of`` is the
    card that this one goes on from, where one step asks more than lies on one card.
    """

    key: str
    title: str
    per: Per = "cell"
    component: str = ""
    cautions: str = ""
    frames: tuple[str, ...] = ()
    copies: bool = False
    of: str = ""

    @property
    def step(self) -> str:
        """Give the step under which entries are kept: one, on however many cards it lies."""
        return self.of or self.key


IRON, AIR = "component.iron_electrode", "component.air_electrode"
OUTSIDE = ("front", "back", "left", "right", "top", "bottom", "vent", "terminals")

CARDS: tuple[Card, ...] = (
    Card("arrival", "Arrival", cautions="receive"),
    Card("outside", "Outside, photographed", cautions="receive", frames=OUTSIDE),
    Card("leak", "Leaks", cautions="receive"),
    Card("weighing", "Mass and level", cautions="receive"),
    Card("electrical", "Electrical state", cautions="electrical"),
    Card("policy", "Charge before opening", cautions="electrical"),
    Card("place", "The place prepared", cautions="prepare", copies=True),
    Card("opening", "Opened", cautions="open"),
    Card("electrolyte", "Electrolyte recovered", component="component.electrolyte", cautions="electrolyte"),
    Card(
        "electrolyte_measures",
        "Electrolyte measured",
        component="component.electrolyte",
        cautions="electrolyte",
    ),
    Card("parts", "Parts came apart", per="part", cautions="separate"),
    Card("iron", "Iron electrode, place by place", per="place", component=IRON, cautions="observe_iron"),
    Card("iron_whole", "Iron electrode, as a whole", per="part", component=IRON, cautions="observe_iron"),
    Card("thickness", "Thickness at the places", per="place", component=IRON, cautions="observe_iron"),
    Card("collector", "Collector and tab", per="part", cautions="observe"),
    Card("separator", "Separator", per="part", component="component.separator", cautions="observe"),
    Card("air", "Air electrode", per="place", component=AIR, cautions="observe"),
    Card("seal", "Seal, case, terminals", per="part", cautions="observe"),
    Card("sediment", "Sediment and losses", cautions="observe"),
    Card("rinse", "Rinse", per="part", component=IRON, cautions="rinse", copies=True),
    Card("dry", "Dry", per="part", component=IRON, cautions="dry", copies=True),
    Card("warm", "Warming", per="part", component=IRON, cautions="dry"),
    Card("cut", "Cut and name", per="part", cautions="cut"),
    Card("titration", "Titration", per="sample", component="component.electrolyte", cautions="titrate"),
    Card("titration_about", "Titration: acid and route", per="sample", cautions="titrate", copies=True),
    Card("close", "End of the sitting", cautions="waste"),
)
BY_KEY = {card.key: card for card in CARDS}


KEYED_TWICE = frozenset({"thickness", "titration"})
"""Cards whose numbers decide what is worked out from them."""


def is_keyed_twice(data: Mapping[str, Any]) -> bool:
    """Tell whether a number typed from paper is keyed a second time, blind to the first.

    Masses, thicknesses and burette readings are: one slip in them moves a result. Keyed twice, 0.046 in 1000
    fields were wrong, keyed once 0.37 (Paulsen et al., PLoS ONE 7(4) (2012) e35087); keying again finds more
    than reading over (Barchard et al., Behav. Res. Methods, doi 10.3758/s13428-019-01207-3).
    """
    if data.get("kind") != "number":
        return False
    return bool(data.get("critical") or data.get("quantity") == "mass" or data.get("card") in KEYED_TWICE)


def card(key: str) -> Card:
    """Give a card by its key.

    Raises
    ------
    KeyError
        If there is no such card.
    """
    return BY_KEY[key]

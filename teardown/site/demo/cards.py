"""What is said at the bench, card by card, when an invented cell is opened."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from teardown.cells.models import Cell
from teardown.science.constants import WATER_G_PER_Ah
from teardown.site.demo.lives import Rng, Story
from teardown.site.demo.traces import Seen, Traces, seen_of, traces_of

Said = dict[str, Any]
Card = tuple[float, list[Said]]
PARTS = ("iron_electrode", "separator", "air_electrode", "case")
SEPARATOR = [f"separator.{what}" for what in ("state", "stain", "growth", "deposit", "gas")]
PLACES = [f"{face}.{row}{column}" for face in "AB" for row in "TMB" for column in "123"]


def cards_of(story: Story, cell: Cell, *, whole: bool) -> Iterator[Card]:
    """Give what is said on each card, with the minutes since opening; ``whole`` unless it lies open still."""
    bench = _Bench(story, cell, traces_of(story), seen_of(story), story.rng("cards"), _hand_of(story))
    yield from bench.before()
    yield from bench.opened()
    if whole:
        yield from bench.iron()
        yield from bench.rest()
        yield from bench.weighed()


def _hand_of(story: Story) -> bool:
    """Tell whether its chemist writes a comma where others write a point."""
    return bool(story.rng("comma").random() < 0.4)


@dataclass(frozen=True, slots=True)
class _Bench:
    story: Story
    cell: Cell
    own: Traces
    seen: dict[str, Seen]
    chance: Rng
    comma: bool

    def before(self) -> Iterator[Card]:
        """Look at the closed cell."""
        masses, leaks, shorted = self._masses(), self.story.root == "leak", self.story.root == "short"
        rest_V = 0.02 if shorted else float(self.chance.uniform(0.7, 1.0))
        state = self.story.state_at_stop if self.story.state_at_stop != "unknown" else "between"
        yield (
            -30,
            [
                {"term": "arrival.identity", "answer": "agree"},
                {"term": "arrival.condition", "answer": "crystals_outside" if leaks else "intact"},
                {"term": "arrival.orientation", "answer": "upright"},
                *self._look("arrival.crust", "leak.seal", "leak.terminals"),
                self._number("mass.received_g", masses["received"], 3, "BAL-2"),
                self._number("electrical.rest_V", rest_V, 3, "DMM-3"),
                {"term": "electrical.state", "answer": state},
            ],
        )
        yield (
            -2,
            [
                {"term": "place.atmosphere", "answer": "air"},
                self._number("electrolyte.tare_g", masses["tare"], 3, "BAL-2"),
                {"term": "policy.chosen", "answer": "as_it_stands"},
            ],
        )

    def opened(self) -> Iterator[Card]:
        """Open it, recover the electrolyte, and look at the plate at once."""
        masses, turbid = self._masses(), self.own.sediment_mg > 50
        yield (
            1,
            [
                {"term": "opening.method", "answer": "unscrewed"},
                *self._look("opening.gas", "opening.smell", "opening.bubbling"),
            ],
        )
        yield (
            3,
            [
                {"term": "electrolyte.method", "answer": "pipetted"},
                self._number("electrolyte.gross_g", masses["tare"] + masses["electrolyte"], 3, "BAL-2"),
                {"term": "electrolyte.colour", "answer": self.own.electrolyte, "certainty": "sure"},
                {"term": "electrolyte.clarity", "answer": "particles" if turbid else "clear"},
            ],
        )
        thorough = self.chance.random() < 0.25
        yield 7, [self._colour(place) for place in PLACES[:: 1 if thorough else 3]]

    def iron(self) -> Iterator[Card]:
        """Look at the plate, and measure how thick it is."""
        own = self.own
        yield (
            10,
            [
                {"term": "iron.texture", "answer": own.texture, "place": "A.M2"},
                {
                    "term": "iron.cover",
                    "state": "present",
                    "extent": own.cover,
                    "place": "A.M2",
                    "certainty": "think so",
                },
                {"term": "iron.cover", "state": "cannot tell", "place": "B.B3"},
                {"term": "iron.adhesion", "answer": own.adhesion, "place": "A.M2"},
                {"term": "iron.shape", "answer": own.shape},
                *self._look("iron.shed", "iron.film_green", "iron.mesh_bare"),
            ],
        )
        thickness_um = (self.cell.electrode_thickness_um or 800) * (1 + own.thicker)
        yield (
            13,
            [
                self._number(
                    "iron.thickness_um", thickness_um * float(self.chance.normal(1, 0.012)), 0, "MIC-1"
                )
                | {"place": place}
                for place in ("A.T2", "A.M1", "A.M2", "A.M3", "A.B2")
            ],
        )

    def rest(self) -> Iterator[Card]:
        """Look at everything else."""
        yield (
            18,
            self._look(*(f"separator.{what}" for what in ("state", "stain", "growth", "deposit", "gas"))),
        )
        yield 20, self._look("collector.look", "tab.look")
        yield (
            24,
            [
                said | {"place": "whole"}
                for said in self._look("air.gas_side", "air.wet_side", "air.crust", "air.catalyst_lost")
            ],
        )
        yield 28, self._look("seal.look", "vent.look", "sediment.kind")

    def weighed(self) -> Iterator[Card]:
        """Weigh the parts, look at the electrolyte by instrument, rinse and dry."""
        masses, chance, own = self._masses(), self.chance, self.own
        yield (
            35,
            [
                *(
                    self._number("part.mass_g", masses[part], 3, "BAL-2") | {"component": part}
                    for part in PARTS
                ),
                self._number("electrolyte.blots_g", masses["blots"], 3, "BAL-2"),
                self._number("sediment.mass_mg", own.sediment_mg * float(chance.uniform(0.8, 1.2)), 1),
            ],
        )
        conductivity = 0.55 * float(chance.normal(1, 0.02)) * (1 - 1.2 * own.carbonate)
        yield (
            50,
            [
                self._number("electrolyte.temperature_C", 21.4 + float(chance.normal(0, 0.6)), 1),
                self._number("electrolyte.density", self._density(), 4, "DEN-1"),
                self._number("electrolyte.conductivity", conductivity, 3, "CON-1"),
            ],
        )
        warm = chance.random() < 0.12
        noticed: Said = {"answer": "warm"} if warm else {"state": "absent"}
        surface_C = 33.5 if warm else 22.0 + float(chance.normal(0, 0.5))
        yield (
            75,
            [
                {"term": "rinse.unrinsed_kept", "state": "present"},
                {"term": "rinse.liquid", "answer": "deoxygenated"},
                {"term": "rinse.baths", "value": "3"},
                {"term": "rinse.second", "answer": "ethanol"},
                {"term": "dry.how", "answer": "vacuum"},
                {"term": "warm.noticed"} | noticed,
                self._number("warm.temperature_C", surface_C, 1, "IRT-1"),
            ],
        )

    def _look(self, *terms: str) -> list[Said]:
        return [_said(self.seen[term]) for term in terms if term in self.seen]

    def _colour(self, place: str) -> Said:
        colour = self.own.colour if self.chance.random() < 0.85 else "dark_grey"
        return {"term": "iron.colour", "answer": colour, "place": place, "certainty": "sure"}

    def _number(self, term: str, value: float, digits: int, instrument: str = "") -> Said:
        text = f"{value:.{digits}f}"
        said: Said = {"term": term, "value": text.replace(".", ",") if self.comma else text}
        return said | {"instrument": instrument, "confirmed_unusual": True}

    def _masses(self) -> dict[str, float]:
        """Weigh the parts so that they come to what was received, but for what stayed in tissue."""
        chance, own = self.story.rng("masses"), self.own
        gone = own.lost_g * float(chance.uniform(0.7, 1.3)) + WATER_G_PER_Ah * self.story.charge_lost_Ah
        received = (self.cell.build_mass_g or 41.6) - gone
        iron = (self.cell.iron_mass_g or 1.188) * 1.28 + 0.41 + 0.42
        parts = {
            "electrolyte": max(1.5, 9.6 - gone) + float(chance.normal(0, 0.15)),
            "iron_electrode": iron - own.sediment_mg / 1000,
            "separator": 0.86 + float(chance.normal(0, 0.02)),
            "air_electrode": 2.9 + float(chance.normal(0, 0.05)),
            "blots": 0.31 + float(chance.normal(0, 0.03)),
        }
        lost = 0.06 if chance.random() < 0.9 else 1.3
        case = received - sum(parts.values()) - own.sediment_mg / 1000 - lost
        return parts | {"received": received, "case": case, "tare": float(chance.uniform(11.8, 12.4))}

    def _density(self) -> float:
        """Give the density near 21 degC, roughly, with more salt where the electrolyte carbonated."""
        noise = float(self.story.rng("density").normal(0, 0.002))
        return 1.0 + 0.0425 * self.story.formula.KOH_mol_L + 0.2 * self.own.carbonate + noise


def _said(seen: Seen) -> Said:
    term, what, extent = seen
    if what in {"present", "absent"}:
        return {"term": term, "state": what} | ({"extent": extent} if extent else {})
    return {"term": term, "answer": what}

"""The classes of a section, and the grey levels that tell them apart."""

from dataclasses import dataclass
from typing import Literal

PORE, OXIDE, METAL, EXCLUDED, BRIGHT = 0, 1, 2, 3, 4
CLASSES = 5
NAMES = {PORE: "pore", OXIDE: "oxide", METAL: "metal", EXCLUDED: "excluded", BRIGHT: "brighter than metal"}

LevelSource = Literal["pinned", "automatic", "prior", "manual", "trained"]


@dataclass(frozen=True, slots=True)
class Levels:
    """Grey of each class after the gain field is divided out, on the image's own scale of 0 to 1.

    ``oxides`` lists one or two oxide greys, darkest first; ``bright`` is the grey of matter brighter than
    metal, where there is any. ``source`` says who set them; ``standard_error`` is of the oxide level, in
    grey. ``thresholds`` are the greys that part pore from oxide and oxide from metal, where a person set
    them; else they lie half-way between the levels.
    """

    pore: float
    oxides: tuple[float, ...]
    metal: float
    bright: float | None = None
    source: LevelSource = "automatic"
    standard_error: float = 0.0
    thresholds: tuple[float, float] | None = None

    @property
    def contrast(self) -> float:
        """Grey distance from pore to metal."""
        return self.metal - self.pore

    def relative(self, grey: float) -> float:
        """Place a grey on the scale on which pore is 0 and metal is 1."""
        return (grey - self.pore) / self.contrast

    @property
    def oxide_places(self) -> tuple[float, ...]:
        """Oxide levels on the scale on which pore is 0 and metal is 1."""
        return tuple(self.relative(grey) for grey in self.oxides)

    @property
    def lower_place(self) -> float:
        """Where pore ends and oxide begins, on the scale on which pore is 0 and metal is 1."""
        return self.relative(self.thresholds[0]) if self.thresholds else min(self.oxide_places) / 2

    @property
    def upper_place(self) -> float:
        """Where oxide ends and metal begins, on the scale on which pore is 0 and metal is 1."""
        return self.relative(self.thresholds[1]) if self.thresholds else (1 + max(self.oxide_places)) / 2

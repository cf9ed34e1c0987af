"""How a reader wants the curves: against cycles, days or charge passed; in Ah or per gram of iron."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from teardown.page.figures import Axis

Column = NDArray[np.float64]
ACROSS = {"cycle": "cycle", "day": "days on test", "throughput": "charge passed, Ah"}
PER = {"Ah": "capacity, Ah", "mAh_g": "capacity, mAh per g of iron"}


@dataclass(frozen=True, slots=True)
class View:
    """The choices, and what they need: the iron in the cell."""

    across: str = "cycle"
    per: str = "Ah"
    iron_mass_g: float | None = None

    @classmethod
    def asked(cls, query: Mapping[str, str], iron_mass_g: float | None) -> "View":
        """Read the choices from an address; what is not known is the usual."""
        across = query.get("across", "cycle")
        per = query.get("per", "Ah")
        return cls(
            across if across in ACROSS else "cycle",
            per if per in PER and (per == "Ah" or iron_mass_g) else "Ah",
            iron_mass_g,
        )

    def x(self, columns: Mapping[str, Column]) -> Column:
        """Give the places of the cycles along the axis."""
        if self.across == "day":
            return columns["end_s"] / 86400
        return columns["throughput_Ah"] if self.across == "throughput" else columns["cycle"]

    def place(self, columns: Mapping[str, Column], cycle: float) -> float:
        """Give the place of a cycle that may lie between two."""
        return float(np.interp(cycle, columns["cycle"], self.x(columns)))

    def x_axis(self) -> Axis:
        """Describe the axis."""
        return Axis(ACROSS[self.across], whole=self.across == "cycle")

    @property
    def factor(self) -> float:
        """Give what turns Ah into the unit that is shown."""
        return 1000 / self.iron_mass_g if self.per == "mAh_g" and self.iron_mass_g else 1.0

    @property
    def unit(self) -> str:
        """Give the unit that is shown."""
        return "Ah" if self.per == "Ah" else "mAh/g"

    @property
    def y_label(self) -> str:
        """Name the capacity axis."""
        return PER[self.per]

"""A number with its doubt."""

from dataclasses import asdict, dataclass
from math import isfinite

from teardown.science.errors import MeasurementError


class NotAnInterval(MeasurementError):
    """The limits do not enclose the value."""

    code = "science.E001"
    hint = "Give low <= value <= high, all finite."


@dataclass(frozen=True, slots=True)
class Estimate:
    """A measured value with its 95 % interval, its unit, how many it rests on and how it was made.

    Attributes
    ----------
    value, low, high : float
        The estimate and its 95 % limits, in ``unit``. Fractions are 0 to 1.
    unit : str
        "1" for dimensionless.
    n : int
        How many independent pieces (fields, samples, cells) the value rests on.
    method : str
        One plain phrase that names estimator and interval.
    """

    value: float
    low: float
    high: float
    unit: str
    n: int
    method: str

    def __post_init__(self) -> None:
        """Refuse limits that do not enclose the value."""
        if (
            not all(map(isfinite, (self.value, self.low, self.high)))
            or not self.low <= self.value <= self.high
        ):
            raise NotAnInterval(f"{self.low} .. {self.value} .. {self.high} is not an interval.")

    @property
    def half_width(self) -> float:
        """Half of the interval, in ``unit``."""
        return (self.high - self.low) / 2

    def as_dict(self) -> dict[str, float | int | str]:
        """Give the fields as plain data, for JSON."""
        return asdict(self)

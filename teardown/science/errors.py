"""Refusals and remarks: how a computation says what is wrong, where, and how to mend it.

A refusal stops; a remark goes along with a result. Both carry a code that the in-app help explains.
"""

from dataclasses import dataclass
from typing import Literal

Level = Literal["error", "warning", "info"]


class Refusal(Exception):
    """A computation or a reader will not answer, and says why.

    Subclasses set ``code`` and ``hint``; the message says what was found.
    """

    code: str = "science.E000"
    hint: str = ""

    def __str__(self) -> str:
        """Say what was found and, where known, what to do."""
        found = super().__str__() or (self.__doc__ or "").strip().splitlines()[0]
        return f"{found} {self.hint}".strip()


class MeasurementError(Refusal):
    """A measure cannot be taken from what was given."""


class ReadingError(Refusal):
    """A file cannot be read as what it claims to be."""


@dataclass(frozen=True, slots=True)
class Remark:
    """Something a reader of the result must know: a flag of a measure, a problem of a file.

    ``code`` is a key in data and help; ``message`` is a plain sentence for people.
    ``value`` is the number that raised it, ``where`` the row, column or place, ``remedy`` what to do.
    """

    code: str
    level: Level
    message: str
    value: float | None = None
    where: str = ""
    remedy: str = ""

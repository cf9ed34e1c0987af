"""Whether a micrograph counts in the oxide coverage of its sample, and why not."""

from dataclasses import dataclass
from typing import Any

from teardown.accounts.roles import may
from teardown.dissection.models import Sample, Section
from teardown.imaging.models import Micrograph
from teardown.imaging.runs import chosen_of, marks_of, tie_of


@dataclass(frozen=True, slots=True)
class InCoverage:
    """A micrograph of a section with an artefact: of which, and whether a person chose to count it."""

    sample: Sample
    plane: Section
    artefacts: tuple[str, ...]
    chosen: dict[str, Any]
    may_choose: bool

    @property
    def counts(self) -> bool:
        """Tell whether it counts all the same."""
        return bool(self.chosen.get("count"))

    @property
    def because(self) -> str:
        """Say what the artefact is, of which section."""
        return f"{self.plane}: {', '.join(self.artefacts)}"


def in_coverage(micrograph: Micrograph, user: Any) -> InCoverage | None:
    """Give what the page says of it; None for a micrograph that nothing keeps out of coverage."""
    tied = tie_of(micrograph)
    artefacts = marks_of(tied)
    if tied is None or tied.sample is None or not artefacts:
        return None
    plane = tied.plane()
    if plane is None:
        return None
    return InCoverage(tied.sample, plane, artefacts, chosen_of(tied.sample), may(user, "measures.review"))

"""Patterns of known composition as files."""

from collections.abc import Mapping

from teardown.cells.models import Cell
from teardown.diffraction.actions import add_pattern
from teardown.diffraction.models import Pattern
from teardown.dissection.models import Dissection, Part, Sample
from teardown.science.crystallography.phantoms import powder_pattern
from teardown.vocabulary.models import Term
from tests.makers import NOW, make_cell, make_user

TRUTH = {"iron": 0.5, "magnetite": 0.3, "iron-hydroxide": 0.2}


def pattern_file(weights: Mapping[str, float] = TRUTH, **how: object) -> bytes:
    """Give a pattern as two columns of text; short, so that tests are quick."""
    made = powder_pattern(weights, **({"range_deg": (16.0, 70.0, 0.06), "seed": 1} | how))
    return "\n".join(
        f"{a:.3f} {b:.0f}" for a, b in zip(made.two_theta_deg, made.counts, strict=True)
    ).encode()


def make_pattern(by: object, *, file: bytes | None = None, **said: object) -> Pattern:
    """Add a pattern through the same deed as people."""
    return add_pattern(file=file or pattern_file(), name=str(said.pop("name", "strip.xy")), by=by, **said)


def make_piece(code: str = "1234567A", *, cell: Cell | None = None, rinsed: bool | None = None) -> Sample:
    """Cut a sample from the iron electrode of an opened cell."""
    dissection, _ = Dissection.objects.get_or_create(cell=cell or make_cell(), defaults={"day": NOW.date()})
    part, _ = Part.objects.get_or_create(
        dissection=dissection, component=Term.objects.get(key="component.iron_electrode"), number=1
    )
    return Sample.objects.create(code=code, part=part, by=make_user("bench"), at=NOW, rinsed=rinsed)

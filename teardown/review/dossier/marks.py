"""Places that the team marked on images, and the page where one is marked."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.db.models import Q

from teardown.cells.models import Cell
from teardown.dissection.models import Photograph
from teardown.imaging.models import Micrograph
from teardown.page.navigation import address
from teardown.review.dossier.measures import ties_of
from teardown.review.models import Mark, samples_of

Image = Photograph | Micrograph
KINDS: dict[str, type[Image]] = {"photograph": Photograph, "micrograph": Micrograph}


@dataclass(frozen=True, slots=True)
class ShownMark:
    """One mark: its number on the image, its box in thousandths, its words."""

    number: int
    mark: Mark
    left: float
    top: float
    width: float
    height: float
    href: str


@dataclass(frozen=True, slots=True)
class MarkPage:
    """An image with its marks."""

    kind: str
    image: Any
    src: str
    back: str
    cell: Cell | None
    marks: tuple[ShownMark, ...]


def image_of(kind: str, pk: int, user: Any) -> tuple[Image, Cell | None]:
    """Find an image that this person may see, and its cell.

    Raises
    ------
    KeyError, ObjectDoesNotExist
        If there is no such kind or image, or it is not theirs to see.
    """
    image: Any = KINDS[kind]._default_manager.get(pk=pk)
    if kind == "photograph":
        cell = image.dissection.cell if image.dissection else None
    else:
        tie = image.ties.order_by("-pk").first()
        origin = tie.sample.origin if tie and tie.sample else None
        cell = origin.dissection.cell if origin else None
    if cell is not None:
        Cell.objects.visible_to(user).get(pk=cell.pk)
    return image, cell


def mark_page(kind: str, pk: int, user: Any) -> MarkPage:
    """Show an image with its marks."""
    image, cell = image_of(kind, pk, user)
    marks = Mark.objects.standing().filter(**{kind: image}).select_related("by")
    if isinstance(image, Photograph):
        src, back = address("photograph_picture", image.key, "large"), address("photograph", image.key)
    else:
        src, back = address("micrograph_picture", pk), address("micrograph", pk)
    return MarkPage(kind, image, src, back, cell, tuple(_shown(marks)))


def marks_of(cell: Cell) -> list[ShownMark]:
    """Give the marks on all images of a cell. A fixed number of queries."""
    micrographs = ties_of(samples_of([cell.pk]))
    on_it = Q(photograph__dissection__cell=cell) | Q(micrograph__in=micrographs)
    return _shown(Mark.objects.standing().filter(on_it).select_related("by"))


def _shown(marks: Iterable[Mark]) -> list[ShownMark]:
    shown = []
    for number, mark in enumerate(marks, 1):
        left, top, right, bottom = (1000 * v for v in mark.box)
        kind, pk = (
            ("photograph", mark.photograph_id) if mark.photograph_id else ("micrograph", mark.micrograph_id)
        )
        href = address("marks", kind, pk)
        shown.append(ShownMark(number, mark, left, top, right - left, bottom - top, href))
    return shown

"""What a reviewer does: keeps a view, marks a place on an image."""

from collections.abc import Sequence
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction

from teardown.accounts.roles import demand
from teardown.dissection.models import Photograph
from teardown.imaging.models import Micrograph
from teardown.records.actions import record
from teardown.review.models import KeptView, Mark


def keep_view(*, name: str, query: str, note: str = "", by: Any) -> KeptView:
    """Keep a set of cells side by side under a name."""
    demand(by, "studies.keep")
    with transaction.atomic():
        view = KeptView(name=name, query=query, note=note, by=by)
        view.full_clean()
        view.save()
        record(verb="kept", subject=view, by=by, payload={"name": name, "query": query})
    return view


def mark_place(*, image: Photograph | Micrograph, box: Sequence[float], words: str, by: Any) -> Mark:
    """Point at a place on an image, with words.

    Parameters
    ----------
    box : four floats
        Left, top, right and bottom as fractions of the image's width and height.

    Raises
    ------
    ValidationError
        If the box has no area or lies outside the image.
    """
    demand(by, "images.mark")
    left, top, right, bottom = box
    if not (0 <= left < right <= 1 and 0 <= top < bottom <= 1):
        raise ValidationError("A mark is a box inside the image: left before right, top above bottom.")
    with transaction.atomic():
        mark = Mark(box=[round(v, 4) for v in box], words=words, by=by)
        setattr(mark, "photograph" if isinstance(image, Photograph) else "micrograph", image)
        mark.full_clean()
        mark.save()
        record(verb="marked a place on", subject=image, by=by, payload={"words": words, "box": mark.box})
    return mark


def take_mark_away(*, mark: Mark, reason: str, by: Any) -> Mark:
    """Take a mark out of view. What stood stays in the record.

    Raises
    ------
    ValidationError
        If no reason is given, or it was taken away before.
    """
    demand(by, "images.mark")
    if not reason.strip():
        raise ValidationError("Say why the mark is taken away.")
    if Mark.objects.filter(supersedes=mark).exists():
        raise ValidationError("This mark was taken away before.")
    with transaction.atomic():
        gone = Mark.objects.create(
            photograph=mark.photograph, micrograph=mark.micrograph, box=mark.box, words=mark.words,
            supersedes=mark, withdrawn=True, by=by,
        )  # fmt: skip
        image = mark.photograph or mark.micrograph
        record(
            verb="took a mark away from", subject=image, by=by, reason=reason, payload={"words": mark.words}
        )
    return gone

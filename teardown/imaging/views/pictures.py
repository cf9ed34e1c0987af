"""Pictures, layers and tiles of micrographs."""

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.views.decorators.http import require_safe

from teardown.accounts.roles import needs
from teardown.imaging import store
from teardown.imaging.dossier import being_drawn
from teardown.imaging.models import Micrograph, SectionResult
from teardown.imaging.runs import standing
from teardown.imaging.views.one import find

STYLES = ("fill", "hatch", "contour")
KEPT = "private, max-age=86400"


def image(content: bytes, kind: str) -> HttpResponse:
    """Answer with a picture that a browser may keep for a day."""
    return HttpResponse(content, content_type=kind, headers={"Cache-Control": KEPT})


def drawn(one: Micrograph) -> Micrograph:
    """Give a picture that can be shown; a mosaic that a worker is about to draw is not drawn here too.

    Raises
    ------
    Http404
        While it waits for its first measurement.
    """
    if being_drawn(one):
        raise Http404("The picture is being made ready for the screen.")
    return one


@require_safe
@needs("pages.see")
def picture(request: HttpRequest, pk: int) -> HttpResponse:
    """Give the picture as large as a screen."""
    return image(store.picture_of(drawn(find(request, pk))), "image/jpeg")


@require_safe
@needs("pages.see")
def thumbnail(request: HttpRequest, pk: int) -> HttpResponse:
    """Give the picture, small."""
    return image(store.thumbnail_of(drawn(find(request, pk))), "image/jpeg")


@require_safe
@needs("pages.see")
def overlay(request: HttpRequest, pk: int) -> HttpResponse:
    """Give the classes of the standing result as a layer over the picture."""
    one = find(request, pk)
    result = standing([one]).get(one.pk)
    if result is None:
        raise Http404("Not measured yet.")
    style = "hatch" if request.GET.get("as") == "hatch" else "fill"
    response = image(store.overlay_of(result, style), "image/png")
    response["Cache-Control"] = "private, no-cache"
    return response


@require_safe
@needs("pages.see")
def tile(request: HttpRequest, pk: int, level: int, column: int, row: int) -> HttpResponse:
    """Give one tile of the picture."""
    content = store.tile_of(store.pyramid_of(drawn(find(request, pk))), level, column, row)
    if content is None:
        raise Http404("Outside the picture.")
    return image(content, "image/jpeg")


@require_safe
@needs("pages.see")
def class_tile(
    request: HttpRequest, pk: int, run: int, style: str, level: int, column: int, row: int
) -> HttpResponse:
    """Give one tile of the classes that a run found."""
    if style not in STYLES:
        raise Http404("No such style.")
    one = find(request, pk)
    results = SectionResult.objects.select_related("class_map", "micrograph").defer("sums", "flags", "levels")
    result = get_object_or_404(results, micrograph=one, run=run)
    content = store.tile_of(store.classes_of(result), level, column, row, style)
    if content is None:
        raise Http404("Outside the picture.")
    return image(content, "image/png")

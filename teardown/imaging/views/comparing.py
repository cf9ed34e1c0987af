"""Two results of one micrograph beside each other."""

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_safe

from teardown.accounts.roles import needs
from teardown.imaging import dossier, store
from teardown.imaging.models import SectionResult
from teardown.imaging.views.one import find
from teardown.imaging.views.pictures import image


@require_safe
@needs("pages.see")
def compare(request: HttpRequest, pk: int) -> HttpResponse:
    """Show two results side by side, what changed between them, and their numbers."""
    one = find(request, pk)
    asked = [request.GET.get(name, "") for name in ("before", "after")]
    runs = [int(text) if text.isdecimal() and len(text) < 18 else None for text in asked]
    page = dossier.comparison_of(one, *runs)
    return render(request, "imaging/compare.html", {"micrograph": one, "page": page})


@require_safe
@needs("pages.see")
def change_tile(
    request: HttpRequest, pk: int, run: int, after: int, level: int, column: int, row: int
) -> HttpResponse:
    """Give one tile of what changed between two results."""
    one = find(request, pk)
    results = SectionResult.objects.select_related("class_map", "micrograph").defer("sums", "flags", "levels")
    before, later = (get_object_or_404(results, micrograph=one, run=number) for number in (run, after))
    content = store.change_tile_of(before, later, level, column, row)
    if content is None:
        raise Http404("Outside the picture.")
    return image(content, "image/png")

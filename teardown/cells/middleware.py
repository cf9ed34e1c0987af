"""Leads from the former code of a cell to where the page is now."""

from collections.abc import Callable

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import reverse

from teardown.cells.actions.codes import cell_once_called
from teardown.cells.models import Cell


class FormerCodes:
    """Answers a page that was not found by its code, where a cell bore that code before."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        """Keep what comes after."""
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Pass on."""
        return self.get_response(request)

    def process_exception(self, request: HttpRequest, exception: Exception) -> HttpResponse | None:
        """Lead to the same page under the code of now; what a person may not see is not told of."""
        match = request.resolver_match
        if not isinstance(exception, Http404) or match is None or request.method not in ("GET", "HEAD"):
            return None
        code = match.kwargs.get("code")
        cell = cell_once_called(code) if isinstance(code, str) and request.user.is_authenticated else None
        if cell is None or not Cell.objects.visible_to(request.user).filter(pk=cell.pk).exists():
            return None
        messages.info(request, f"{code} was named anew: it is {cell.code} now.")
        to = reverse(match.view_name, kwargs=match.kwargs | {"code": cell.code})
        query = request.META.get("QUERY_STRING", "")
        return HttpResponseRedirect(f"{to}?{query}" if query else to)

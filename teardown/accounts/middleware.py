"""Says refusals in words."""

from collections.abc import Callable

from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.http import url_has_allowed_host_and_scheme

from teardown.records.dossier import NOT_SHOWN, sides_of
from teardown.records.models import StaleVersion


def refusals_in_words(
    get_response: Callable[[HttpRequest], HttpResponse],
) -> Callable[[HttpRequest], HttpResponse]:
    """Turn a refused deed into a page that says who may, or what changed in between."""

    def middleware(request: HttpRequest) -> HttpResponse:
        return get_response(request)

    def process_exception(request: HttpRequest, exception: Exception) -> HttpResponse | None:
        if isinstance(exception, PermissionDenied):
            return render(request, "403.html", {"exception": exception}, status=403)
        if isinstance(exception, StaleVersion):
            typed = request.POST
            late = {
                "stale": exception,
                "sides": sides_of(exception.row, typed.dict()),
                "version": getattr(exception.row, "version", None) if "seen" in typed else None,
                "back": _back(request),
                "again": [
                    (name, value)
                    for name in typed
                    for value in typed.getlist(name)
                    if name not in NOT_SHOWN and "password" not in name
                ],
            }
            return render(request, "409.html", late, status=409)
        return None

    middleware.process_exception = process_exception  # type: ignore[attr-defined]
    return middleware


def _back(request: HttpRequest) -> str:
    """Give the page that the form stood on: many a form is sent to an address that shows nothing."""
    came = request.headers.get("Referer", "")
    here = url_has_allowed_host_and_scheme(came, {request.get_host()}, require_https=request.is_secure())
    return came if here else request.path

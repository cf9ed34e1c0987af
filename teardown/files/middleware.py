"""Says in words that the disk is full, or that the database is busy; a device may then try again."""

import errno
from collections.abc import Callable

from django.db import OperationalError
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render

from teardown.files.store import NoRoom, demand_room

SMALL = 64 * 2**10  # what people type fits in the reserve
BUSY = "The record is busy just now. Nothing was changed; try again in a moment."
FULL = "The disk is full. What was kept before is safe; nothing of this was stored. Free some space first."


def room_and_patience(
    get_response: Callable[[HttpRequest], HttpResponse],
) -> Callable[[HttpRequest], HttpResponse]:
    """Refuse a large upload before it is taken in; turn a full disk and a locked database into words."""

    def middleware(request: HttpRequest) -> HttpResponse:
        length = request.headers.get("Content-Length", "")
        if length.isdecimal() and int(length) > SMALL:
            try:
                demand_room(int(length))
            except NoRoom as refusal:
                return _refuse(request, 507, " ".join(refusal.messages))
        return get_response(request)

    def process_exception(request: HttpRequest, exception: Exception) -> HttpResponse | None:
        return refusal_of(request, exception)

    middleware.process_exception = process_exception  # type: ignore[attr-defined]
    return middleware


def refusal_of(request: HttpRequest, exception: Exception) -> HttpResponse | None:
    """Give the answer to a full disk or a locked database; nothing for any other fault."""
    match exception:
        case NoRoom():
            return _refuse(request, 507, " ".join(exception.messages))
        case OSError(errno=errno.ENOSPC | errno.EDQUOT):
            return _refuse(request, 507, FULL)
        case OperationalError() if "is full" in str(exception):
            return _refuse(request, 507, FULL)
        case OperationalError() if "locked" in str(exception):
            return _refuse(request, 503, BUSY)
    return None


def _refuse(request: HttpRequest, status: int, sentence: str) -> HttpResponse:
    if "json" in request.headers.get("Accept", "") or "json" in (request.content_type or ""):
        response: HttpResponse = JsonResponse({"error": sentence}, status=status)
    else:
        response = render(
            request, "files/no_room.html", {"sentence": sentence, "full": status == 507}, status=status
        )
    if status == 503:
        response["Retry-After"] = "5"
    return response

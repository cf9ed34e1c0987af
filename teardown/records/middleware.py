"""Gives each request a number that its record carries."""

import uuid
from collections.abc import Callable

from django.http import HttpRequest, HttpResponse

from teardown.records.rules import REQUEST


def request_number(
    get_response: Callable[[HttpRequest], HttpResponse],
) -> Callable[[HttpRequest], HttpResponse]:
    """Number the request; the number is in its records and in the answer's header."""

    def middleware(request: HttpRequest) -> HttpResponse:
        token = REQUEST.set(str(uuid.uuid4()))
        try:
            response = get_response(request)
            response["X-Request-Number"] = REQUEST.get()
            return response
        finally:
            REQUEST.reset(token)

    return middleware

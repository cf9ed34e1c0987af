"""What a reader prefers: light or dark, decimal point or comma. Kept in two cookies, no script needed."""

from collections.abc import Callable

from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse, HttpResponseBase, HttpResponseRedirect
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.http import require_POST

from teardown.page.typesetting import decimal_mark

SCHEMES = {"light": "light", "dark": "dark", "auto": "as the device"}
MARKS = {"point": ".", "comma": ","}
A_YEAR = 365 * 86400


class PreferencesMiddleware:
    """Hangs the reader's scheme and mark on the request as the cookies say; sets the decimal mark for it."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        """Keep the next layer."""
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        """Answer under the reader's preferences."""
        scheme, mark = request.COOKIES.get("scheme", "auto"), request.COOKIES.get("mark", "point")
        request.reader_scheme = scheme if scheme in SCHEMES else "auto"  # type: ignore[attr-defined]
        request.reader_mark = mark if mark in MARKS else "point"  # type: ignore[attr-defined]
        token = decimal_mark.set(MARKS[request.reader_mark])  # type: ignore[attr-defined]
        try:
            return self.get_response(request)
        finally:
            decimal_mark.reset(token)


@login_not_required
@require_POST
def keep_preferences(request: HttpRequest) -> HttpResponse:
    """Keep what was chosen and go back to the page it was chosen on."""
    back = request.POST.get("back", "/")
    if not url_has_allowed_host_and_scheme(back, {request.get_host()}, require_https=request.is_secure()):
        back = "/"
    answer = HttpResponseRedirect(back)
    for name, allowed in (("scheme", SCHEMES), ("mark", MARKS)):
        if (chosen := request.POST.get(name)) in allowed:
            answer.set_cookie(
                name, str(chosen), max_age=A_YEAR, samesite="Lax", httponly=True, secure=request.is_secure()
            )
    return answer


# The row of the table of roles and actions; this layer lies below the table and cannot import it.
keep_preferences.action = "account.use"  # type: ignore[attr-defined]

"""What every template knows without asking."""

from django.conf import settings
from django.http import HttpRequest

from teardown.page.navigation import MAIN, MORE, Entries
from teardown.page.preferences import SCHEMES


def laboratory(request: HttpRequest) -> dict[str, object]:
    """Give the laboratory's name, and the navigation, worked out only where a template asks for it."""
    return {
        "laboratory": settings.LABORATORY,
        "schemes": tuple(SCHEMES.items()),
        "marks": (("point", "point, 0.45"), ("comma", "comma, 0,45")),
        "navigation_main": Entries(request, MAIN),
        "navigation_more": Entries(request, MORE),
    }

"""The pages in the head of every page: a short list, less the ones that are not there."""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

from django.conf import settings
from django.http import HttpRequest
from django.urls import NoReverseMatch, resolve, reverse
from django.utils.module_loading import import_string

MAIN = (
    ("cells", "Cells"),
    ("waiting", "Waiting"),
    ("bench", "Bench"),
    ("modes", "Modes"),
    ("side_by_side", "Side by side"),
    ("next_round", "Next round"),
    ("records", "Records"),
)
MORE = (
    ("recipes", "Recipes"),
    ("materials", "Materials"),
    ("capacities", "Capacity by recipe"),
    ("ledgers", "Ledgers by recipe"),
    ("tests", "Tests"),
    ("chambers", "Chambers"),
    ("studies", "Studies"),
    ("samples", "Samples"),
    ("photographs", "Photographs"),
    ("score_again_list", "Scored again"),
    ("micrographs", "Micrographs"),
    ("patterns", "Patterns"),
    ("imports", "Imports"),
    ("older_records", "Older dissections"),
    ("labels", "Labels"),
    ("instruments", "Instruments"),
    ("vocabulary", "Vocabulary"),
    ("cautions", "Cautions"),
    ("methods", "Methods"),
    ("arrivals", "Files received"),
    ("runs", "Work in the background"),
)


@dataclass(frozen=True, slots=True)
class Entry:
    """One link of the navigation; ``count`` is how many things wait there, None where nothing is counted."""

    name: str
    label: str
    url: str
    current: bool
    count: int | None = None


class Entries:
    """Links to the pages that exist, worked out when a template asks, so that fragments pay nothing.

    ``settings.NAVIGATION_COUNTS`` may name, for a page, a function of the user that counts what waits there.
    """

    def __init__(self, request: HttpRequest, pages: tuple[tuple[str, str], ...]) -> None:
        """Keep the request and the pages."""
        self.request, self.pages = request, pages

    def __iter__(self) -> Iterator[Entry]:
        """Give the links in order."""
        return iter(self.entries)

    def __bool__(self) -> bool:
        """Tell whether any of the pages is there."""
        return bool(self.entries)

    @cached_property
    def entries(self) -> tuple[Entry, ...]:
        """Work the links out, once a page."""
        return tuple(self._existing())

    def _existing(self) -> Iterator[Entry]:
        counts: dict[str, str] = getattr(settings, "NAVIGATION_COUNTS", {})
        for name, label in self.pages:
            try:
                url = reverse(name)
            except NoReverseMatch:
                continue
            if not self._may(url):
                continue
            count = import_string(counts[name])(self.request.user) if name in counts else None
            yield Entry(name, label, url, self.request.path.startswith(url), count)

    def _may(self, url: str) -> bool:
        """Tell whether this person may open the page: nobody is led to a door that is shut for them."""
        action = getattr(resolve(url).func, "action", "")
        may = getattr(getattr(self.request, "user", None), "may", None)
        return not action or may is None or bool(may(action))


def address(name: str, *args: object) -> str:
    """Give the address of a page by its name, or nothing where this installation has no such page."""
    try:
        return reverse(name, args=args)
    except NoReverseMatch:
        return ""

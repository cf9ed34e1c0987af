"""What every list shares: order and page from the address, and the export of exactly what is shown."""

from collections.abc import Iterable, Mapping, Sequence
from functools import cached_property
from typing import Any

from django.core.paginator import Page, Paginator
from django.db.models import F, QuerySet
from django.http import HttpRequest, StreamingHttpResponse
from django.utils.text import slugify

from teardown.formats.export import csv_lines

MOST_COUNTED = 10_000


class _Capped(Paginator[Any]):
    """Counts no further than anyone turns pages: counting all is what makes a long list slow."""

    @cached_property
    def count(self) -> int:
        """Count at most one more than ``MOST_COUNTED``."""
        rows: Any = self.object_list
        return (
            len(rows)
            if isinstance(rows, Sequence)
            else rows.order_by().values("pk")[: MOST_COUNTED + 1].count()
        )


def in_order(rows: QuerySet[Any], asked: str, orders: Mapping[str, str], standard: str) -> QuerySet[Any]:
    """Sort by a key of ``orders`` (a minus before it turns it round); unknown keys mean the standard order.

    Rows without the value come last either way.
    """
    key = asked.removeprefix("-")
    chosen = asked if key in orders else standard
    field = F(orders[chosen.removeprefix("-")])
    down = chosen.startswith("-")
    return rows.order_by(field.desc(nulls_last=True) if down else field.asc(nulls_last=True), "pk")


def page_of(rows: Any, request: HttpRequest, size: int = 50) -> Page[Any]:
    """Give the page that the address asks for; a page that is not there is the nearest one."""
    return _Capped(rows, size).get_page(request.GET.get("page", "1")[:9])


def asks_for_csv(request: HttpRequest) -> bool:
    """Tell whether the address asks for the list as a table to take away."""
    return request.GET.get("export") == "csv"


def csv_answer(name: str, heads: Sequence[str], rows: Iterable[Sequence[Any]]) -> StreamingHttpResponse:
    """Send a table as CSV, line by line; every row that the question finds, not the page alone."""
    answer = StreamingHttpResponse(csv_lines(heads, rows), content_type="text/csv; charset=utf-8")
    answer["Content-Disposition"] = f'attachment; filename="{slugify(name) or "table"}.csv"'
    return answer

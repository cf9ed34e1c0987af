"""Tags and filters of every page. ``{% load page %}``."""

import re
from collections.abc import Sequence
from datetime import date, datetime, timedelta

from django import template
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import timezone
from django.utils.html import conditional_escape, format_html
from django.utils.safestring import SafeString, mark_safe

from teardown.page import typesetting
from teardown.page.figures import DotPlot, Figure, Grid, Stacks, Waterfall
from teardown.page.figures import draw as draw_figure
from teardown.page.figures.hatches import HATCHES
from teardown.science.estimate import Estimate

register = template.Library()


CODE = re.compile(r"\[([a-z_]+\.[EW]\d{3}|[A-Z][A-Z_]{3,})\]")


@register.filter
def with_codes(sentence: str) -> SafeString:
    """Lead from a code that ends a sentence, as "… [balance.E001]", to what it means."""
    place = reverse("refusals")
    return mark_safe(  # noqa: S308 - the sentence is escaped, a code is of letters, digits, points and lines
        CODE.sub(rf'[<a class="code" href="{place}#\1">\1</a>]', conditional_escape(sentence))
    )


@register.simple_tag
def estimate(
    value: Estimate | None,
    label: str = "",
    *,
    percent: bool = False,
    href: str = "",
    limit: str = "",
    status: str = "",
    shape: str = "block",
) -> SafeString | str:
    """Set an estimate: large with its soft line ("block"), in a sentence ("line") or in a table ("cell").

    ``href`` leads to what the number was made from; ``limit`` is what the number cannot see; ``status`` is
    said where it is not "accepted".
    """
    if value is None:
        return (
            render_to_string("page/_no_estimate.html", {"label": label})
            if shape == "block"
            else typesetting.NOTHING
        )
    if shape == "line":
        return _linked(typesetting.estimate_line(value, percent=percent), href)
    if shape == "cell":
        return _linked(typesetting.estimate_cell(value, percent=percent), href)
    number, _, _, unit = typesetting.estimate_parts(value, percent=percent)
    context = {
        "label": label,
        "value": typesetting.with_unit(number, unit),
        "interval": typesetting.interval(value, percent=percent),
        "n": value.n,
        "method": value.method,
        "href": href,
        "limit": limit,
        "status": "" if status == "accepted" else status,
    }
    return render_to_string("page/_estimate.html", context)


def _linked(text: str, href: str) -> SafeString | str:
    return format_html('<a class="number" href="{}">{}</a>', href, text) if href else text


@register.simple_tag
def figure(
    description: Figure | DotPlot | Waterfall | Stacks | Grid,
    caption: str = "",
    *,
    numbers: Sequence[Sequence[object]] | None = None,
    heads: Sequence[str] = (),
) -> str:
    """Draw a figure with its caption; ``numbers`` puts its table behind one touch, under ``heads``."""
    context = {"drawing": draw_figure(description), "caption": caption, "numbers": numbers, "heads": heads}
    return render_to_string("page/_figure.html", context)


@register.simple_tag
def drawing(description: Figure | DotPlot | Waterfall | Stacks | Grid) -> SafeString:
    """Draw a figure alone, without caption."""
    return draw_figure(description)


@register.simple_tag
def hatches() -> SafeString:
    """Give the hatches that print uses for classes; once a page, in the base template."""
    return HATCHES


@register.simple_tag(takes_context=True)
def sort_link(context: template.Context, key: str, words: str, *, parameter: str = "order") -> SafeString:
    """Link that sorts by ``key``, on the second touch the other way; the rest of the address stays."""
    query = context["request"].GET.copy()
    now = query.get(parameter, "")
    query[parameter] = f"-{key}" if now == key else key
    query.pop("page", None)
    arrow = {key: "↑", f"-{key}": "↓"}.get(now, "")
    sign = format_html(' <span aria-hidden="true">{}</span>', arrow) if arrow else ""
    return format_html('<a class="sort" href="?{}">{}{}</a>', query.urlencode(), words, sign)


@register.simple_tag(takes_context=True)
def sort_head(
    context: template.Context, key: str, words: str, css: str = "", *, parameter: str = "order"
) -> SafeString:
    """Head of a column that sorts, with the order told to a reader: use in place of ``<th>``."""
    now = context["request"].GET.get(parameter, "")
    told = {key: "ascending", f"-{key}": "descending"}.get(now, "")
    said = format_html(' aria-sort="{}"', told) if told else ""
    worn = format_html(' class="{}"', css) if css else ""
    return format_html(
        '<th scope="col"{}{}>{}</th>', worn, said, sort_link(context, key, words, parameter=parameter)
    )


@register.filter
def chemistry(text: object) -> SafeString:
    """Set the formulas within a text with subscripts; the rest is escaped."""
    return typesetting.chemistry(str(text))


@register.filter
def num(value: float | None, decimals: int | None = None) -> str:
    """Set a number; without decimals up to four figures."""
    return typesetting.NOTHING if value is None else typesetting.number(float(value), decimals)


@register.filter
def unit(value: float | None, unit: str) -> str:
    """Set a number with its unit: ``{{ mass|unit:"g" }}``."""
    return (
        typesetting.NOTHING
        if value is None
        else typesetting.with_unit(typesetting.number(float(value)), unit)
    )


@register.filter
def percent(value: float | None, decimals: int = 0) -> str:
    """Set a fraction of 0 to 1 as percent."""
    return typesetting.NOTHING if value is None else typesetting.fraction_as_percent(float(value), decimals)


@register.filter
def day(when: date | None) -> str:
    """Set a day in full."""
    return typesetting.NOTHING if when is None else typesetting.day(_local(when))


@register.filter
def short_day(when: date | None) -> str:
    """Set a day where room is short."""
    return typesetting.NOTHING if when is None else typesetting.short_day(_local(when), year=True)


@register.filter
def moment(when: datetime | None) -> str:
    """Set a moment in local time."""
    return typesetting.NOTHING if when is None else typesetting.moment(timezone.localtime(when))


@register.filter
def duration(length: timedelta | None) -> str:
    """Set a length of time with its two largest units."""
    return typesetting.NOTHING if length is None else typesetting.duration(length)


@register.filter
def counted(n: int, nouns: str) -> str:
    """Set a count with its noun: ``{{ n|counted:"field" }}``, ``{{ n|counted:"entry,entries" }}``."""
    one, _, many = nouns.partition(",")
    return typesetting.as_count(n, one, many)


def _local(when: date) -> date:
    return timezone.localtime(when) if isinstance(when, datetime) and timezone.is_aware(when) else when


@register.filter
def words(quantity: str) -> str:
    """Turn the key of a quantity into words: ``oxide_thickness_um`` is "oxide thickness"."""
    return re.sub(r"_(um|nm|mm|g|mg|Ah|Wh|V|A|C|h|s|pct)$", "", quantity).replace("_", " ")

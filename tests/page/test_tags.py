"""The tags and filters of every page."""

from datetime import UTC, date, datetime, timedelta

import pytest
from django.template import Context, Template
from django.test import RequestFactory

from teardown.page.templatetags import page
from teardown.science.estimate import Estimate
from tests.page.figures.makers import a_figure

COVERAGE = Estimate(0.71, 0.66, 0.76, "1", 5, "mean of fields, Student t")


def rendered(source: str, address: str = "/cells/", **context: object) -> str:
    return Template(source).render(Context({"request": RequestFactory().get(address), **context}))


def test_an_estimate_shows_value_interval_n_and_limit_and_leads_to_its_making() -> None:
    html = rendered(
        '{% estimate e "oxide coverage" percent=True href="/m/1/" limit="below 0.4 µm unseen" %}', e=COVERAGE
    )
    for words in (
        "oxide coverage",
        "71\u202f%",
        "66–76\u202f%, n 5",
        "below 0.4 µm unseen",
        'href="/m/1/"',
        "Student t",
    ):
        assert words in html


def test_a_proposed_estimate_says_so_and_an_accepted_one_does_not() -> None:
    assert "proposed" in rendered('{% estimate e "c" percent=True status="proposed" %}', e=COVERAGE)
    assert "accepted" not in rendered('{% estimate e "c" percent=True status="accepted" %}', e=COVERAGE)


def test_no_estimate_is_said_in_words() -> None:
    assert "not measured" in rendered('{% estimate e "pore size" %}', e=None)
    assert rendered('{% estimate e shape="cell" %}', e=None) == "—"


def test_an_estimate_in_a_table_is_short() -> None:
    assert rendered('{% estimate e percent=True shape="cell" %}', e=COVERAGE) == "71 (66–76)"


def test_a_figure_comes_with_caption_and_its_numbers() -> None:
    html = rendered(
        "{% figure f caption=c numbers=rows heads=heads %}",
        f=a_figure(),
        c="180 cycles & more.",
        rows=[["<1>", 2]],
        heads=["a", "b"],
    )
    assert "<figcaption>180 cycles &amp; more.</figcaption>" in html
    assert "<td>&lt;1&gt;</td>" in html
    assert html.count("<svg") == 1


def test_sorting_turns_round_and_keeps_the_rest_of_the_address() -> None:
    assert 'href="?state=judged&amp;order=code"' in rendered(
        '{% sort_link "code" "cell" %}', "/cells/?state=judged&page=3"
    )
    again = rendered('{% sort_head "code" "cell" "number" %}', "/cells/?order=code")
    assert 'href="?order=-code"' in again
    assert 'aria-sort="ascending"' in again
    assert 'class="number"' in again


def test_sorting_lets_no_markup_through() -> None:
    assert "<b>" not in rendered('{% sort_link "code" w %}', "/cells/?x=%3Cb%3E", w="<b>")


@pytest.mark.parametrize(
    ("source", "value", "text"),
    [
        ("{{ v|num }}", 0.12346, "0.1235"),
        ("{{ v|num:2 }}", 2, "2.00"),
        ('{{ v|unit:"g" }}', 1.188, "1.188\u202fg"),
        ('{{ v|unit:"C" }}', 35, "35\u202f°C"),
        ("{{ v|percent }}", 0.45, "45\u202f%"),
        ("{{ v|day }}", date(2026, 3, 3), "3\u202fMarch 2026"),
        ("{{ v|short_day }}", datetime(2026, 3, 3, 5, tzinfo=UTC), "3\u202fMar 2026"),
        ("{{ v|moment }}", datetime(2026, 3, 3, 5, 10, tzinfo=UTC), "3\u202fMar 2026, 05:10"),
        ("{{ v|duration }}", timedelta(hours=9), "9\u202fh"),
        ('{{ v|counted:"field" }}', 1, "1 field"),
        ('{{ v|counted:"entry,entries" }}', 2, "2 entries"),
        ("{{ v|chemistry }}", "Fe3O4 <", "Fe<sub>3</sub>O<sub>4</sub> &lt;"),
    ],
)
def test_filters_set_values(source: str, value: object, text: str) -> None:
    assert rendered(source, v=value) == text


@pytest.mark.parametrize("name", ["num", "percent", "day", "short_day", "moment", "duration"])
def test_nothing_is_shown_as_a_dash(name: str) -> None:
    assert getattr(page, name)(None) == "—"

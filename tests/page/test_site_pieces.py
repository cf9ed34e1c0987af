"""Navigation, preferences, typefaces, style sheets."""

import re
from pathlib import Path

import pytest
from django.contrib.staticfiles import finders
from django.contrib.staticfiles.finders import get_finder
from django.http import HttpResponse
from django.test import Client, RequestFactory, override_settings

from teardown.page import typesetting
from teardown.page.finders import FACES, TypefaceFinder
from teardown.page.navigation import Entries
from teardown.page.preferences import PreferencesMiddleware

STATIC = Path(__file__).resolve().parents[2] / "static"


def test_a_page_that_does_not_exist_has_no_link() -> None:
    entries = Entries(
        RequestFactory().get("/preferences/"), (("preferences", "Here"), ("no_such_page", "There"))
    )
    assert [(e.label, e.current) for e in entries] == [("Here", True)]
    assert not Entries(RequestFactory().get("/"), (("no_such_page", "There"),))


def test_what_waits_is_counted_where_the_settings_name_a_counter() -> None:
    request = RequestFactory().get("/")
    request.user = "anyone"  # type: ignore[assignment]
    with override_settings(NAVIGATION_COUNTS={"preferences": "builtins.len"}):
        (entry,) = Entries(request, (("preferences", "Here"),))
    assert entry.count == len("anyone")


def test_preferences_are_kept_in_cookies_and_lead_back() -> None:
    answer = Client().post(
        "/preferences/", {"scheme": "dark", "mark": "comma", "back": "/cells/?state=judged"}
    )
    assert answer.url == "/cells/?state=judged"  # type: ignore[attr-defined]
    assert answer.cookies["scheme"].value == "dark"
    assert answer.cookies["mark"].value == "comma"


def test_preferences_lead_nowhere_else_and_keep_nothing_unknown() -> None:
    answer = Client().post("/preferences/", {"scheme": "<b>", "back": "https://elsewhere.example/"})
    assert answer.url == "/"  # type: ignore[attr-defined]
    assert not answer.cookies


def test_the_decimal_mark_holds_for_one_answer_only() -> None:
    middleware = PreferencesMiddleware(lambda _request: HttpResponse(typesetting.number(0.5)))
    request = RequestFactory().get("/")
    request.COOKIES["mark"] = "comma"
    assert middleware(request).content == b"0,5"  # type: ignore[attr-defined]
    assert typesetting.number(0.5) == "0.5"


def test_the_faces_are_served_and_nothing_else_of_their_packages() -> None:
    finder = get_finder("teardown.page.finders.TypefaceFinder")
    listed = {name for name, _ in finder.list([])}
    assert listed == {name for names in FACES.values() for name in names}
    assert finders.find("type/SourceSansPro-Regular.otf")
    assert not finders.find("type/SourceSansPro-Black.otf")
    assert TypefaceFinder().find("type/../__init__.py") == []


def test_every_face_that_the_style_names_is_served() -> None:
    named = set(re.findall(r"\.\./type/([\w-]+\.otf)", (STATIC / "css/base.css").read_text()))
    assert named == {name for names in FACES.values() for name in names}


def test_every_token_used_is_one_of_the_house() -> None:
    tokens = set(re.findall(r"--([\w-]+):", (STATIC / "css/tokens.css").read_text()))
    for sheet in (STATIC / "css").glob("*.css"):
        text = sheet.read_text()
        used = set(re.findall(r"var\(--([\w-]+)", text))
        own = set(re.findall(r"--([\w-]+):", text))
        assert used <= tokens | own, f"{sheet.name} uses {used - tokens - own}"


def luminance(colour: str) -> float:
    """Relative luminance as WCAG 2.2 defines it."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [v / 12.92 if v <= 0.04045 else ((v + 0.055) / 1.055) ** 2.4 for v in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


@pytest.mark.parametrize("scheme", [0, 1], ids=["light", "dark"])
@pytest.mark.parametrize(
    ("words", "ground", "least"),
    [
        ("ink", "paper", 7),
        ("ink", "sheet", 7),
        ("soft", "paper", 4.5),
        ("soft", "sheet", 4.5),
        ("accent", "paper", 4.5),
        ("accent", "sheet", 4.5),
        ("accent", "wash", 4.5),
        ("ink", "wash", 7),
        ("soft", "wash", 4.5),
        ("strong", "paper", 3),
    ],
)
def test_words_stand_out_from_their_ground(words: str, ground: str, least: float, scheme: int) -> None:
    # WCAG 2.2, success criteria 1.4.3 (4.5:1 for text) and 1.4.11 (3:1 for boundaries of controls)
    text = (STATIC / "css/tokens.css").read_text()
    pairs = {m[1]: (m[2], m[3]) for m in re.finditer(r"--([\w-]+): light-dark\((#\w+), (#\w+)\)", text)}
    light, dark = sorted((luminance(pairs[words][scheme]), luminance(pairs[ground][scheme])), reverse=True)
    assert (light + 0.05) / (dark + 0.05) >= least


TEMPLATES = Path(__file__).resolve().parents[2] / "templates"


def test_every_piece_says_in_its_first_line_what_it_needs() -> None:
    for template in TEMPLATES.rglob("_*.html"):
        assert template.read_text().startswith("{#"), template

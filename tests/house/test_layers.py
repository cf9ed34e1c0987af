"""The storeys of the house, where the import linter cannot look: templates, start-up, the web process."""

import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
STOREYS = [
    "page",
    "accounts",
    "files",
    "vocabulary",
    "cells",
    "cycling",
    "dissection",
    "imaging",
    "diffraction",
    "findings",
    "review",
]
HEIGHT = {name: STOREYS.index(name) for name in STOREYS} | {"diffraction": STOREYS.index("imaging")}


def test_template_pieces_are_taken_from_below_only() -> None:
    wrong = [
        f"{path.name} of {home} includes a piece of {app}"
        for path in (ROOT / "templates").rglob("*.html")
        for home in [path.relative_to(ROOT / "templates").parts[0]]
        for app in re.findall(r"{% include [\"'](\w+)/", path.read_text(encoding="utf-8"))
        if HEIGHT.get(app, -1) > HEIGHT.get(home, 99)
    ]
    assert wrong == []


def test_no_template_holds_inline_script_or_style() -> None:
    bad = re.compile(
        r"<script(?![^>]*\bsrc=)(?![^>]*type=\"application/json\")[^>]*>|\sstyle=|<style|\son\w+=",
        re.IGNORECASE,
    )
    found = [
        f"{path.relative_to(ROOT)}: {match.group(0)}"
        for path in (ROOT / "templates").rglob("*.html")
        for match in bad.finditer(path.read_text(encoding="utf-8"))
    ]
    assert found == []


def test_no_page_needs_the_internet() -> None:
    outside = re.compile(r"(?:src|href)=\"(?:https?:)?//")
    assert [
        path.name
        for path in (ROOT / "templates").rglob("*.html")
        if outside.search(path.read_text(encoding="utf-8"))
    ] == []


@pytest.mark.parametrize("heavy", ["skimage", "cv2", "scipy", "polars", "gemmi", "pyvips", "matplotlib"])
def test_the_web_process_stays_light(heavy: str) -> None:
    assert heavy not in _modules_of_the_web_process()


def _modules_of_the_web_process(known: list[set[str]] = []) -> set[str]:  # noqa: B006 - asked once for all cases
    if not known:
        code = (
            "import os, sys; os.environ['DJANGO_SETTINGS_MODULE'] = 'tests.settings'\n"
            "from django.core.wsgi import get_wsgi_application; get_wsgi_application()\n"
            "from django.urls import get_resolver; get_resolver().url_patterns; get_resolver()._populate()\n"
            "print(' '.join({name.partition('.')[0] for name in sys.modules}))"
        )
        answer = subprocess.run(
            [sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=ROOT
        )
        known.append(set(answer.stdout.split()))
    return known[0]


def test_a_piece_with_a_form_is_given_the_token_that_its_form_sends() -> None:
    """With ``only`` a piece knows nothing it is not given; a form without the token is refused."""
    root = ROOT / "templates"
    texts = {
        path.relative_to(root).as_posix(): path.read_text(encoding="utf-8") for path in root.rglob("*.html")
    }
    wants = {name for name, text in texts.items() if "{% csrf_token %}" in text}
    lacking = [
        (page, name)
        for page, text in texts.items()
        for name, given in re.findall(r"{% include [\"']([\w/]+\.html)[\"']([^%]*)%}", text)
        if name in wants and " only" in given and "csrf_token=" not in given
    ]
    assert wants
    assert lacking == []

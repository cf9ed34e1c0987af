"""Every page there is, looked at once in a real browser: nobody is shut out, the console says nothing."""

from itertools import cycle
from typing import Any

import pytest
from django.test import Client

from tests import eyes
from tests.accounts.routes import Route, routes, things
from tests.makers import make_user

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
LIGHTS = (("light", "desk"), ("dark", "tablet"))


def pages(client: Client, made: dict[str, dict[str, Any]]) -> list[tuple[str, str]]:
    """Give name and address of each route that answers a reader with a page."""
    found = []
    for route in routes():
        address = _address(route, made)
        answer = client.get(address)
        is_page = answer.status_code == 200 and answer["Content-Type"].startswith("text/html")
        if is_page and b"<!doctype html" in answer.content.lower():
            found.append((route.name, address))
        answer.close()
    return found


def _address(route: Route, made: dict[str, dict[str, Any]]) -> str:
    return route.address(made)


@pytest.mark.parametrize(
    "both",
    [pytest.param(False, id="one light"), pytest.param(True, id="both lights", marks=pytest.mark.long)],
)
def test_no_page_shuts_anyone_out(visit: eyes.Visit, client: Client, both: bool) -> None:
    everyone = ["bench", "operator", "analyst", "reviewer", "lead", "administrator"]
    user = make_user(*everyone, username="everyone")
    made = things(user)
    client.force_login(user)
    wrong: dict[str, list[str]] = {}
    found = pages(client, made)
    assert len(found) > 40
    turns = (
        [LIGHTS] * len(found) if both else [(light,) for light, _ in zip(cycle(LIGHTS), found, strict=False)]
    )
    windows: dict[tuple[str, str], Any] = {}  # one a light: what all pages share is fetched once
    for (name, address), lights in zip(found, turns, strict=True):
        for scheme, size in lights:
            if (scheme, size) not in windows:
                windows[scheme, size] = visit(address, user, scheme=scheme, size=size, settled="load")
            page = windows[scheme, size]
            page.goto(visit.address + address)
            if faults := eyes.faults(page):
                wrong[f"{name} ({address}) in {scheme}, {size}"] = faults
    assert wrong == {}
    assert visit.complaints == []

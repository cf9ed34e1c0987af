"""Every route is a row of the table of actions, and holds to it for every role."""

import logging
import re

import pytest
from django.test import Client

from teardown.accounts.roles import ACTIONS, ANYONE, Role, may, roles_that_may
from tests.accounts.routes import CELL, RECIPE, routes, things
from tests.makers import make_user

ROUTES = list(routes())
# Open before anyone has signed in: the door, the sign that all is well, light or dark.
OPEN = {"sign_in", "sign_out", "health", "preferences"}
INLINE = re.compile(rb"<script(?![^>]*\bsrc=)(?![^>]*type=\"application/json\")|<[^>]*\s(style|on[a-z]+)=")


def test_every_route_is_named_and_is_a_row_of_the_table():
    assert [r.pattern for r in ROUTES if not r.name] == []
    assert [r.pattern for r in ROUTES if r.action not in ACTIONS] == []


@pytest.fixture(autouse=True)
def _quiet():
    """Refusals are what is asked for here; their log would hide the list of faults."""
    logging.disable(logging.ERROR)
    yield
    logging.disable(logging.NOTSET)


def ask(client: Client, address: str):
    """Ask for an address; where reading is not its way, send it an empty form."""
    answer = client.get(address)
    return client.post(address) if answer.status_code == 405 else answer


@pytest.mark.django_db
def test_anonymous_finds_the_door_and_nothing_else(client):
    open_, wrong = set(), []
    for route in ROUTES:
        answer = ask(client, route.address({}))
        at_door = answer.status_code == 302 and answer["Location"].startswith("/sign-in/?next=")
        if roles_that_may(route.action) is ANYONE:
            open_.add(route.name)
        elif not (at_door or answer.status_code in {401, 403}):
            wrong.append((route.name, answer.status_code))
    assert (wrong, open_) == ([], OPEN)


@pytest.mark.django_db
@pytest.mark.parametrize("role", Role.values)
def test_each_role_meets_what_the_table_says_and_no_fault(role):
    """Addresses that name nothing: the right is asked before the thing, so nobody learns what there is."""
    client, user = Client(raise_request_exception=False), make_user(role)
    client.force_login(user)
    wrong = []
    for route in ROUTES:
        if route.name == "sign_out":
            continue
        status = ask(client, route.address({})).status_code
        refused = status == 403
        if refused == may(user, route.action) or status >= 500:
            wrong.append((route.name, route.action, status))
    assert not wrong, "\n".join(map(str, wrong))


@pytest.mark.django_db
@pytest.mark.parametrize("role", [role for role in Role.values if role != Role.INSTRUMENT])
def test_nobody_is_led_to_a_page_that_is_shut_for_them(client, role):
    client.force_login(make_user(role))
    head = client.get("/account/").content.decode().split("<main")[0]
    links = set(re.findall(r'<li><a href="(/[^"]*)"', head))
    assert [link for link in links if client.get(link).status_code == 403] == []
    assert links


@pytest.fixture
def everything(db):
    return things(make_user(*(role for role in Role.values if role != "guest")))


def test_each_route_answers_on_real_things_with_every_guard_on(everything):
    """The headers of every answer, whoever may do all."""
    client = Client(raise_request_exception=False)
    client.force_login(make_user(*Role.values))
    faults = []
    for route in ROUTES:
        if route.name == "sign_out":
            continue
        answer = ask(client, route.address(everything))
        if answer.status_code >= 500 or answer.status_code == 403:
            faults.append((route.name, answer.status_code))
        faults += [(route.name, fault) for fault in _unguarded(answer)]
    assert not faults, "\n".join(map(str, faults))


def _unguarded(answer) -> list[str]:
    """Name the headers that an answer lacks (OWASP ASVS 5.0.0, chapter 3.4)."""
    policy = answer.get("Content-Security-Policy", "")
    wanted = {
        "X-Content-Type-Options": "nosniff",
        "Referrer-Policy": "same-origin",
        "X-Frame-Options": "DENY",
        "Cross-Origin-Opener-Policy": "same-origin",
    }
    lacking = [name for name, value in wanted.items() if answer.get(name) != value]
    if "unsafe" in policy or not ("object-src 'none'" in policy or "default-src 'none'" in policy):
        lacking.append("Content-Security-Policy")
    body = _body(answer)  # read in any case, so that the file behind it is let go
    if "text/html" in answer.get("Content-Type", "") and INLINE.search(body):
        lacking.append("no inline script or style")
    return lacking


def _body(answer) -> bytes:
    return b"".join(answer) if answer.streaming else answer.content


def test_nothing_leaks_to_who_may_not_see_it(everything):
    """Not the code of an open cell, nor that of a recipe, on any page of who may not see them."""
    leaks = []
    for role in Role.values:
        client, user = Client(raise_request_exception=False), make_user(role)
        client.force_login(user)
        hidden = [] if may(user, "cells.see_open") else [CELL]
        hidden += [] if may(user, "recipes.see") else [RECIPE]
        for route in ROUTES if hidden else []:
            if route.name == "records" and role == Role.ADMINISTRATOR:
                continue  # who did what is told to who answers for the machine, whatever it was done to
            address = route.address(everything)
            body = _body(client.get(address)).decode("utf-8", "replace").replace(address, "")
            leaks += [(role, route.name, word) for word in hidden if word in body]
    assert not leaks, "\n".join(map(str, leaks))

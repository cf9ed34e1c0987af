"""A chemist, a cell whose test has ended, and a tablet before it."""

import pytest
from django.urls import reverse

from tests import eyes, makers
from tests.dissection.makers import ended
from tests.journeys.gloves import HOLDS


@pytest.fixture
def chemist(transactional_db):
    return makers.make_user("bench", username="chemist", password="a long enough one")


@pytest.fixture
def cell(chemist):
    return ended("SP-0413", chemist)


@pytest.fixture
def at_the_bench(browser, live_server, cell, chemist):
    """Give a page of the card stack, in the size asked for; what is said there waits until it is let go."""
    contexts = []

    def open_at(width=1280, height=800, card="arrival", code="SP-0413", who=None, **more):
        context = browser.new_context(viewport={"width": width, "height": height}, **more)
        contexts.append(context)
        context.set_default_timeout(60_000)
        context.add_init_script(HOLDS)
        cookie = {"name": "sessionid", "value": eyes.session_of(who or chemist), "url": live_server.url}
        context.add_cookies([cookie])
        page = context.new_page()
        page.troubles = []
        page.on("pageerror", lambda error: page.troubles.append(str(error)))
        page.goto(f"{live_server.url}{reverse('bench_cell', args=[code])}?card={card}")
        page.wait_for_selector(".scripted .bench-card.here")
        page.evaluate("localStorage.setItem('held', 'yes')")
        return page

    yield open_at
    for context in contexts:
        context.close()

"""How a gloved hand uses the cards of the bench, for the journeys there."""

import re
import time
from typing import Any

GUARD_MS = 420  # a second touch sooner is taken for a drop of water
# What is said goes to the server by itself after some seconds; where it is counted, it waits to be sent.
HOLDS = """(() => { const fetched = window.fetch;
  window.fetch = (where, ...how) => localStorage.getItem("held") && String(where).includes("/bench/keep")
    ? Promise.reject(new TypeError("held back by the test")) : fetched(where, ...how); })()"""


def open_field(page: Any) -> Any:
    """Give the field that is open on the card that lies there."""
    return page.locator(".bench-card.here .bench-ask.open")


def touch(page: Any, selector: str) -> None:
    """Touch something on the card, after the guard."""
    page.wait_for_timeout(GUARD_MS)
    page.locator(selector).click()


def say(page: Any, words: str) -> None:
    """Touch a button of the open field."""
    page.wait_for_timeout(GUARD_MS)
    open_field(page).get_by_role("button", name=words, exact=True).click()


def type_number(page: Any, text: str, *, read_twice: bool = False) -> None:
    """Type a number on the pad; where it is read back, say that it was read twice."""
    pad = open_field(page).locator(".bench-pad")
    for key in text:
        pad.locator(f'[data-key="{key}"]').click()
    pad.locator('[data-key="keep"]').click()
    if read_twice:
        page.wait_for_selector('[data-dialog="unusual"][open]')
        touch(page, '[data-deed="twice"]')


def go(page: Any, card: str) -> None:
    """Open a card of the same cell, as a link does."""
    page.goto(f"{page.url.split('?')[0]}?card={card}")
    page.wait_for_selector(f'.scripted .bench-card.here[data-card="{card}"]')


def kept_here(page: Any, number: int, seconds: float = 60) -> None:
    """Wait until the head says so many things are kept here."""
    page.locator('[data-part="here"]', has_text=re.compile(f"^{number} kept here")).wait_for(
        timeout=seconds * 1000
    )


def let_go(page: Any) -> None:
    """Let what is said go to the server by itself again."""
    page.evaluate("localStorage.removeItem('held')")


def fits(page: Any) -> bool:
    """Tell whether the card lies on the screen without scrolling."""
    return bool(
        page.evaluate(
            "document.documentElement.scrollHeight <= innerHeight && "
            "document.documentElement.scrollWidth <= innerWidth"
        )
    )


def send_now(page: Any) -> None:
    """Have the queue sent at once, and come back to the card."""
    let_go(page)
    touch(page, '[data-deed="more"]')
    touch(page, '[data-dialog="more"] [data-deed="tray"]')
    touch(page, '[data-dialog="tray"] [data-deed="send"]')
    kept_here(page, 0)
    touch(page, '[data-dialog="tray"] [data-deed="shut"]')
    page.wait_for_timeout(GUARD_MS)


def until(true: Any, seconds: float = 60) -> None:
    """Wait until something is true in the database."""
    end = time.monotonic() + seconds
    while not true() and time.monotonic() < end:
        time.sleep(0.2)
    assert true()

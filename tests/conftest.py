"""What all tests share."""

import os

os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "true")  # Playwright's loop runs in the thread of the test

import threading
import time
from collections.abc import Iterator
from typing import TYPE_CHECKING

import pytest
from django.db import connection
from django.test import TransactionTestCase
from hypothesis import settings as drawing

from teardown.records import guards
from tests import eyes

if TYPE_CHECKING:
    from playwright.sync_api import Browser
    from pytest_django.live_server_helper import LiveServer


SLOW = {"faults", "journeys"}
# a busy machine is no fault of the code; the same draws each time, so that red is no accident of one run
drawing.register_profile("no clock", deadline=None, derandomize=True)
drawing.load_profile("no clock")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Begin with what takes longest, so that several processes end together."""
    items.sort(key=lambda item: SLOW.isdisjoint(item.path.parts))


@pytest.fixture(autouse=True, scope="session")
def _guards_let_a_test_flush() -> None:
    """The guards refuse the flush after a browser test: they stand aside for it and come back with it.

    What the live server is still writing is written before that.
    """
    flush = TransactionTestCase._fixture_teardown

    def teardown(self: TransactionTestCase) -> None:
        _wait_for_the_server()
        guards.remove(connection)
        flush(self)

    TransactionTestCase._fixture_teardown = teardown  # type: ignore[method-assign]


def _wait_for_the_server(at_most_s: float = 5) -> None:
    """Wait until no thread answers a browser any more; one that was left open is not waited for longer."""
    deadline = time.monotonic() + at_most_s
    while time.monotonic() < deadline and any(
        thread.name.endswith("(process_request_thread)") for thread in threading.enumerate()
    ):
        time.sleep(0.02)


@pytest.fixture(scope="session")
def browser_type_launch_args(browser_type_launch_args: dict[str, object]) -> dict[str, object]:
    """Use the browser of this machine; where there is none, say so and skip what needs one."""
    path = eyes.chromium()
    if path is None:
        pytest.skip("No Chromium on this machine: what is seen in a browser was not tested.")
    from playwright.sync_api import expect

    expect.set_options(timeout=30_000)  # a busy machine answers late, and is waited for
    flags = ["--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage"]
    return {**browser_type_launch_args, "executable_path": path, "args": flags}


@pytest.fixture
def visit(browser: "Browser", live_server: "LiveServer") -> Iterator[eyes.Visit]:
    """Open pages of a live server as a person, in a scheme and size; the console's complaints are kept."""
    visits = eyes.Visit(browser, live_server.url)
    yield visits
    visits.leave()

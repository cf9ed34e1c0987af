"""What all tests share."""

import os

os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "true")  # Playwright's loop runs in the thread of the test

import pytest
from django.db import connection
from django.test import TransactionTestCase

from teardown.records import guards


@pytest.fixture(autouse=True, scope="session")
def _guards_let_a_test_flush() -> None:
    """The guards refuse the flush after a browser test: they stand aside for it and come back with it."""
    flush = TransactionTestCase._fixture_teardown

    def teardown(self: TransactionTestCase) -> None:
        guards.remove(connection)
        flush(self)

    TransactionTestCase._fixture_teardown = teardown  # type: ignore[method-assign]

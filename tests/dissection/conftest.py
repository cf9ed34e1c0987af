"""A chemist at the bench, and a cell whose dissection was begun."""

import pytest

from tests import makers
from tests.dissection.makers import ended


@pytest.fixture
def chemist():
    return makers.make_user("bench", username="chemist", password="a long enough one")


@pytest.fixture
def cell(chemist):
    return ended("SP-0413", chemist)


@pytest.fixture
def signed_in(client, chemist):
    client.force_login(chemist)
    return client

"""Each number has a page that says how it is made and what it cannot tell."""

import pytest
from django.test import Client

from teardown.review.rules import METHODS
from tests.makers import make_user

pytestmark = pytest.mark.django_db
PARTS = ("How it is made", "How sure it is", "What it cannot tell", "Sources and checks")


@pytest.mark.parametrize("key", METHODS)
def test_a_method_page_has_its_four_parts_and_none_is_empty(client: Client, key: str) -> None:
    client.force_login(make_user("guest"))
    page = client.get(f"/methods/{key}/").content.decode()
    for part in PARTS:
        below = page.split(f">{part}<")[1].split("</section>")[0]
        assert "<p>" in below


def test_the_list_leads_to_every_method(client: Client) -> None:
    client.force_login(make_user("bench"))
    page = client.get("/methods/").content.decode()
    assert [key for key in METHODS if f'href="/methods/{key}/"' not in page] == []


def test_an_unknown_number_has_no_page(client: Client) -> None:
    client.force_login(make_user("bench"))
    assert client.get("/methods/wisdom/").status_code == 404


def test_refusals_are_explained_on_one_page(client: Client) -> None:
    client.force_login(make_user("bench"))
    assert "stereology.E013" in client.get("/methods/refusals/").content.decode()

"""Signing in, being locked out, and what is closed by default."""

import pytest
from django.test import Client, override_settings

from teardown.accounts.models import User
from tests.makers import make_user

pytestmark = pytest.mark.django_db
PASSWORD = "a long enough sentence"


def sign_in(client: Client, username: str, password: str = PASSWORD) -> int:
    return client.post("/sign-in/", {"username": username, "password": password}).status_code


def test_the_right_password_lets_in_and_the_wrong_one_does_not(client: Client) -> None:
    make_user("analyst", username="analyst", password=PASSWORD)
    assert sign_in(client, "analyst", "wrong") == 200
    assert client.get("/account/").status_code == 302
    assert sign_in(client, "analyst") == 302
    assert client.get("/account/").status_code == 200


@override_settings(AXES_ENABLED=True)
def test_five_wrong_passwords_lock_the_name_at_this_address_even_for_the_right_one(client: Client) -> None:
    make_user("analyst", username="analyst", password=PASSWORD)
    answers = [sign_in(client, "analyst", "wrong") for _ in range(5)]
    assert answers[-1] == 429
    assert sign_in(client, "analyst") == 429


def test_an_account_switched_off_stays_and_does_not_let_in(client: Client) -> None:
    user = make_user("analyst", username="gone", password=PASSWORD)
    User.objects.filter(pk=user.pk).update(is_active=False)
    assert sign_in(client, "gone") == 200
    assert client.get("/account/").status_code == 302


def test_the_health_page_answers_anyone(client: Client) -> None:
    assert client.get("/health/").json()["well"] is True


def test_a_page_for_administrators_refuses_others_in_words(client: Client) -> None:
    client.force_login(make_user("bench"))
    answer = client.get("/people/")
    assert answer.status_code == 403
    assert "Only administrators may manage people and their roles" in answer.content.decode()


def test_an_administrator_welcomes_someone_who_can_then_sign_in(client: Client) -> None:
    client.force_login(make_user("administrator"))
    form = {
        "username": "newcomer",
        "name": "The newcomer",
        "password": PASSWORD,
        "roles": ["bench", "analyst"],
    }
    assert client.post("/people/", form).status_code == 302
    assert User.objects.get(username="newcomer").roles == {"bench", "analyst"}
    assert sign_in(Client(), "newcomer") == 302


def test_a_name_that_is_taken_is_refused_with_a_sentence(client: Client) -> None:
    client.force_login(make_user("administrator", username="boss"))
    answer = client.post(
        "/people/", {"username": "boss", "name": "Another", "password": PASSWORD, "roles": ["bench"]}
    )
    assert "Someone already signs in with this name" in answer.content.decode()


def test_every_answer_forbids_inline_script_and_sniffing(client: Client) -> None:
    answer = client.get("/sign-in/")
    policy = answer["Content-Security-Policy"]
    assert "'unsafe-inline'" not in policy
    assert "object-src 'none'" in policy
    assert answer["X-Content-Type-Options"] == "nosniff"

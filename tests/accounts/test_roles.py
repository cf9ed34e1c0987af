"""One table of roles and actions, and refusals in words."""

import pytest
from django.contrib.auth.models import AnonymousUser
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import connection, transaction

from teardown.accounts.actions import grant, set_pin, welcome
from teardown.accounts.models import RoleGrant, User
from teardown.accounts.roles import ACTIONS, ANYONE, Role, demand, may, needs, words
from teardown.records.models import Record
from tests.makers import make_user

pytestmark = pytest.mark.django_db


def test_every_role_of_the_table_is_a_role() -> None:
    named = set().union(*(allowed for _, allowed in ACTIONS.values() if allowed is not ANYONE))
    assert named == set(Role.values)


def test_nobody_signed_in_may_only_see_the_health_page_and_sign_in() -> None:
    assert {action for action in ACTIONS if may(AnonymousUser(), action)} == {"health.see", "account.use"}


def test_an_administrator_has_no_say_in_science() -> None:
    administrator = make_user(Role.ADMINISTRATOR)
    assert not any(
        may(administrator, action)
        for action in ("modes.judge", "entries.add", "recipes.see", "measures.review")
    )


def test_a_refusal_says_who_may_and_who_is_asking() -> None:
    with pytest.raises(
        PermissionDenied,
        match=r"Only analysts and lab leads may import recipes and cells; you .* one of the guests",
    ):
        demand(make_user(Role.GUEST), "cells.import")


def test_a_person_with_two_roles_may_what_either_may() -> None:
    both = make_user(Role.BENCH, Role.REVIEWER)
    assert all(may(both, action) for action in ("dissection.start", "modes.decide"))


def test_a_role_taken_back_is_gone_and_the_grant_still_stands() -> None:
    boss, user = make_user(Role.ADMINISTRATOR), make_user(Role.ANALYST)
    grant(user=user, role=Role.ANALYST, granted=False, by=boss, reason="moved to another group")
    assert User.objects.get(pk=user.pk).roles == frozenset()
    assert RoleGrant.objects.filter(user=user).count() == 2
    assert Record.objects.latest("seq").verb == "took back"


def test_only_an_administrator_grants_roles() -> None:
    user = make_user(Role.LEAD)
    with pytest.raises(PermissionDenied):
        grant(user=user, role=Role.ADMINISTRATOR, granted=True, by=user)
    with pytest.raises(PermissionDenied):
        welcome(username="friend", name="A friend", password="long enough words", roles=[Role.LEAD], by=user)
    assert not User.objects.filter(username="friend").exists()


def test_a_view_cannot_be_held_to_an_action_that_is_not_in_the_table() -> None:
    with pytest.raises(KeyError, match=r"cells\.explode is not in the table"):
        needs("cells.explode")


def test_a_person_is_never_deleted() -> None:
    user = make_user(Role.BENCH)
    with (
        pytest.raises(Exception, match="never taken away"),
        transaction.atomic(),
        connection.cursor() as cursor,
    ):
        cursor.execute("DELETE FROM accounts_user WHERE id = %s", [user.pk])


@pytest.mark.parametrize("pin", ["123", "123456789", "12a4", "１２３４", ""])
def test_a_pin_is_four_to_eight_plain_digits(pin: str) -> None:
    user = make_user(Role.BENCH)
    with pytest.raises(ValidationError, match="4 to 8 digits"):
        set_pin(user=user, pin=pin)
    assert not User.objects.get(pk=user.pk).pin_fits(pin)


def test_a_pin_that_was_set_fits_and_another_does_not() -> None:
    user = make_user(Role.BENCH)
    set_pin(user=user, pin="2468")
    user.refresh_from_db()
    assert user.pin_fits("2468")
    assert not user.pin_fits("2467")


def test_roles_are_listed_in_words() -> None:
    assert words({Role.BENCH, Role.LEAD, Role.GUEST}) == "bench chemists, lab leads and guests"

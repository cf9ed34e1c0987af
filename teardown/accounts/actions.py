"""What is done to people: made, given roles, taken off, a PIN set."""

import datetime as dt
import hashlib
from collections.abc import Iterable

from django.contrib.auth.hashers import make_password
from django.core.exceptions import ValidationError
from django.db import transaction

from teardown.accounts.models import PinTry, RoleGrant, User
from teardown.accounts.roles import demand
from teardown.records.actions import record

MOST_TRIES, SHUT_FOR = 5, dt.timedelta(minutes=15)


class WrongPin(ValidationError):
    """Name and PIN do not fit; says how often it may still be tried."""


class DoorShut(ValidationError):
    """Too many wrong PINs for a name; says how long it stays shut."""


def welcome(*, username: str, name: str, password: str | None, roles: Iterable[str], by: User | None) -> User:
    """Make a person known here, with roles. ``by`` is None only for the first one, at the console."""
    if by is not None:
        demand(by, "people.manage")
    with transaction.atomic():
        user = User.objects.create_user(username, password, name=name)
        for role in roles:
            RoleGrant.objects.create(user=user, role=role, by=by)
        record(verb="welcomed", subject=user, by=by, payload={"roles": sorted(roles)})
    return user


def grant(*, user: User, role: str, granted: bool, by: User, reason: str = "") -> None:
    """Give a role to a person or take it back."""
    demand(by, "people.manage")
    with transaction.atomic():
        RoleGrant.objects.create(user=user, role=role, granted=granted, by=by)
        record(
            verb="granted" if granted else "took back",
            subject=user,
            by=by,
            reason=reason,
            payload={"role": role},
        )
    user.__dict__.pop("roles", None)


def set_pin(*, user: User, pin: str) -> None:
    """Set the short number by which a person is known at a shared tablet.

    Raises
    ------
    ValidationError
        If it is not 4 to 8 digits.
    """
    if not (pin.isascii() and pin.isdigit() and 4 <= len(pin) <= 8):
        raise ValidationError("A PIN is 4 to 8 digits.")
    with transaction.atomic():
        User.objects.filter(pk=user.pk).update(pin_hash=make_password(pin))
        record(verb="set the PIN of", subject=user, by=user)


def know_by_pin(*, username: str, pin: str, at: dt.datetime) -> User:
    """Know a person at a shared tablet by their PIN.

    Five wrong ones within a quarter of an hour shut the door for that name until the first of them is as old.
    A try is written down before the PIN is looked at, so that many at once get no more than five.

    Raises
    ------
    WrongPin
        If name and PIN do not fit, or nobody is known by that name; the two are not told apart.
    DoorShut
        If too many did not fit before.
    """
    name = hashlib.sha256(username.encode("utf-8", "replace")).hexdigest()
    if len(wrong := _wrong_tries(name, at)) >= MOST_TRIES:
        raise _door_shut(wrong, at)
    PinTry.objects.create(name_sha256=name, fitted=False, at=at)
    if len(wrong := _wrong_tries(name, at)) > MOST_TRIES:
        raise _door_shut(wrong, at)
    user = User.objects.filter(username=username, is_active=True).first()
    if user is None:
        make_password(pin)  # as slow as looking at a PIN, so that a name is not found out by the clock
    if user is None or not user.pin_fits(pin):
        left = MOST_TRIES - len(wrong)
        if left == 0:
            raise _door_shut(wrong, at)
        raise WrongPin(f"Name and PIN do not fit. {left} more {'try' if left == 1 else 'tries'}.")
    PinTry.objects.create(name_sha256=name, fitted=True, at=at)
    return user


def _wrong_tries(name: str, at: dt.datetime) -> list[dt.datetime]:
    """Give when PINs did not fit, within a quarter of an hour and since one last fitted."""
    tries = PinTry.objects.filter(name_sha256=name, at__gt=at - SHUT_FOR).order_by("pk")
    wrong: list[dt.datetime] = []
    for fitted, when in tries.values_list("fitted", "at"):
        wrong = [] if fitted else [*wrong, when]
    return wrong


def _door_shut(wrong: list[dt.datetime], at: dt.datetime) -> DoorShut:
    left = wrong[-MOST_TRIES] + SHUT_FOR - at
    minutes = max(1, -(-int(left.total_seconds()) // 60))
    return DoorShut(
        f"{MOST_TRIES} wrong PINs: nobody gets in by PIN under this name for another "
        f"{minutes} {'minute' if minutes == 1 else 'minutes'}. Signing in with the password goes on as ever."
    )

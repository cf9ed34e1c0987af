"""Keys for notebooks and instruments: issued once, kept only as a digest, withdrawn at any time."""

import datetime as dt
import hashlib
import secrets
from typing import Any

from django.core.exceptions import PermissionDenied, ValidationError
from django.db import transaction
from django.db.models import Q
from django.utils import timezone

from teardown.accounts.models import User
from teardown.accounts.roles import demand
from teardown.api.models import Token
from teardown.records.actions import record

PREFIX = "td_"
SEEN_EVERY = dt.timedelta(minutes=1)


def digest(key: str) -> str:
    """Give what is kept of a key."""
    return hashlib.sha256(key.encode()).hexdigest()


def issue_key(*, user: User, name: str, by: User, expires_at: dt.datetime | None = None) -> tuple[Token, str]:
    """Issue a key that speaks for a person or an instrument, with that account's rights.

    Returns the row and the key itself, which is shown once and kept nowhere.

    Raises
    ------
    PermissionDenied
        For somebody else's account, unless by an administrator.
    ValidationError
        If the name is empty or the end lies in the past.
    """
    demand(by, "account.own" if user == by else "people.manage")
    if not name.strip():
        raise ValidationError({"name": "Say what the key is for."})
    if expires_at is not None and expires_at <= timezone.now():
        raise ValidationError({"expires_at": "This lies in the past."})
    key = PREFIX + secrets.token_urlsafe(32)
    with transaction.atomic():
        token = Token(name=name.strip(), sha256=digest(key), user=user, expires_at=expires_at)
        token.full_clean()
        token.save()
        record(
            verb="issued",
            subject=token,
            by=by,
            payload={"for": user.pk, "name": token.name, "expires_at": expires_at},
        )
    return token, key


def withdraw_key(*, token: Token, by: User) -> Token:
    """Make a key useless from now on.

    Raises
    ------
    PermissionDenied
        For somebody else's key, unless by an administrator.
    ValidationError
        If it is withdrawn already.
    """
    if token.user_id != by.pk and not by.may("people.manage"):
        raise PermissionDenied("Only administrators may withdraw the keys of others.")
    with transaction.atomic():
        changed = Token.objects.filter(pk=token.pk, withdrawn_at=None).update(withdrawn_at=timezone.now())
        if not changed:
            raise ValidationError("This key is withdrawn already.")
        record(verb="withdrew", subject=token, by=by, payload={"name": token.name})
    token.refresh_from_db()
    return token


def whose(key: str) -> Any:
    """Give the account that a key speaks for, or None; note at most once a minute that it was used."""
    now = timezone.now()
    alive = Q(withdrawn_at=None) & (Q(expires_at=None) | Q(expires_at__gt=now))
    token = (
        Token.objects.filter(alive, sha256=digest(key), user__is_active=True).select_related("user").first()
    )
    if token is None:
        return None
    if token.last_used_at is None or now - token.last_used_at > SEEN_EVERY:
        Token.objects.filter(pk=token.pk).update(last_used_at=now)
    return token.user

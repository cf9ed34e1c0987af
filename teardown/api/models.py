"""Credentials of notebooks and instruments."""

from django.conf import settings
from django.db import models

from teardown.records.models import Kept


class Token(Kept):
    """A key that a notebook or an instrument speaks with; only its digest is kept."""

    name = models.CharField(max_length=80)
    sha256 = models.CharField(max_length=64, unique=True)
    user = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    expires_at = models.DateTimeField(null=True, blank=True)
    last_used_at = models.DateTimeField(null=True, blank=True)
    withdrawn_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["pk"]

"""Registers records with Django."""

from django.apps import AppConfig


class RecordsConfig(AppConfig):
    """The one append-only chain: who did what, when and why; and the guards that hold it."""

    name = "teardown.records"
    label = "records"

"""Registers vocabulary with Django."""

from django.apps import AppConfig


class VocabularyConfig(AppConfig):
    """Terms with versions: ends of test, observations, modes, reasons."""

    name = "teardown.vocabulary"
    label = "vocabulary"
    default_auto_field = "django.db.models.BigAutoField"

"""Registers findings with Django."""

from django.apps import AppConfig


class FindingsConfig(AppConfig):
    """Balance per cell, judgements, Waiting, Modes, Next round."""

    name = "teardown.findings"
    label = "findings"
    default_auto_field = "django.db.models.BigAutoField"

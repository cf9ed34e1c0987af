"""Registers cycling with Django."""

from django.apps import AppConfig


class CyclingConfig(AppConfig):
    """What each cell did while it lived."""

    name = "teardown.cycling"
    label = "cycling"
    default_auto_field = "django.db.models.BigAutoField"

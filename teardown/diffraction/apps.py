"""Registers diffraction with Django."""

from django.apps import AppConfig


class DiffractionConfig(AppConfig):
    """Diffraction patterns, and the phases in them."""

    name = "teardown.diffraction"
    label = "diffraction"
    default_auto_field = "django.db.models.BigAutoField"

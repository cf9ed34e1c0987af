"""Registers imaging with Django."""

from django.apps import AppConfig


class ImagingConfig(AppConfig):
    """Micrographs, and what they measure."""

    name = "teardown.imaging"
    label = "imaging"
    default_auto_field = "django.db.models.BigAutoField"

"""Registers files with Django."""

from django.apps import AppConfig


class FilesConfig(AppConfig):
    """Bytes as received, kept once under their digest; arrivals; runs that made a number."""

    name = "teardown.files"
    label = "files"
    default_auto_field = "django.db.models.BigAutoField"

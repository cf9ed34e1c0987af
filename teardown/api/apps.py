"""Registers api with Django."""

from django.apps import AppConfig


class ApiConfig(AppConfig):
    """The same deeds and tables for notebooks and instruments."""

    name = "teardown.api"
    label = "api"
    default_auto_field = "django.db.models.BigAutoField"

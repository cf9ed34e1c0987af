"""Registers review with Django."""

from django.apps import AppConfig


class ReviewConfig(AppConfig):
    """First page, Cells, Cell, Side by side, search, Records."""

    name = "teardown.review"
    label = "review"
    default_auto_field = "django.db.models.BigAutoField"

"""Registers dissection with Django."""

from django.apps import AppConfig


class DissectionConfig(AppConfig):
    """What was found when a cell was opened: entries, photographs, samples, sections, custody, cautions."""

    name = "teardown.dissection"
    label = "dissection"
    default_auto_field = "django.db.models.BigAutoField"

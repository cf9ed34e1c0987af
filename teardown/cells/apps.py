"""Registers cells with Django."""

from django.apps import AppConfig


class CellsConfig(AppConfig):
    """Materials, lots, recipes, builds, cells, chambers, tests."""

    name = "teardown.cells"
    label = "cells"
    default_auto_field = "django.db.models.BigAutoField"

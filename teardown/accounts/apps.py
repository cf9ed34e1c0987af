"""Registers accounts with Django."""

from django.apps import AppConfig


class AccountsConfig(AppConfig):
    """People, their roles and devices; one table of roles and actions."""

    name = "teardown.accounts"
    label = "accounts"
    default_auto_field = "django.db.models.BigAutoField"

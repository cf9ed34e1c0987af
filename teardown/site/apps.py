"""Registers the site, and puts guards and shipped words in place after every migration."""

from typing import Any

from django.apps import AppConfig, apps
from django.db import connections
from django.db.models.signals import post_migrate


class SiteConfig(AppConfig):
    """Where it all meets."""

    name = "teardown.site"
    label = "teardown_site"

    def ready(self) -> None:
        """Listen for the end of migrations, and load the checks."""
        from teardown.site import checks  # noqa: F401

        # The signal is sent only for apps with models: this one has none, so it listens at the last that has.
        post_migrate.connect(put_in_place, sender=apps.get_app_config("api"))


def put_in_place(using: str = "default", **_: Any) -> None:
    """Make the head of the chain, the guards and the shipped words stand. Safe to call again and again."""
    from teardown.dissection import store as dissection
    from teardown.records import guards
    from teardown.records.models import ChainHead
    from teardown.vocabulary import store as vocabulary

    connection = connections[using]
    if ChainHead._meta.db_table not in connection.introspection.table_names():
        return
    ChainHead.objects.using(using).get_or_create(pk=1)
    vocabulary.seed()
    dissection.seed_cautions()
    guards.install(connection)

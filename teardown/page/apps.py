"""The page app: pieces that pages share; no tables."""

from django.apps import AppConfig


class PageConfig(AppConfig):
    """Registers the template tags and nothing else."""

    name = "teardown.page"
    label = "page"

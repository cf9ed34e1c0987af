"""Every address, app by app."""

from importlib.util import find_spec

from django.urls import URLPattern, URLResolver, include, path

APPS = (
    "page",
    "accounts",
    "files",
    "vocabulary",
    "cells",
    "cycling",
    "dissection",
    "imaging",
    "diffraction",
    "findings",
    "review",
    "api",
)

urlpatterns: list[URLPattern | URLResolver] = [
    path("", include(f"teardown.{app}.urls")) for app in APPS if find_spec(f"teardown.{app}.urls")
]

handler403 = "teardown.accounts.views.refused"
handler404 = "teardown.accounts.views.not_found"
handler500 = "teardown.accounts.views.broken"

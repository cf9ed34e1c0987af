"""Every address, app by app."""

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

urlpatterns: list[URLPattern | URLResolver] = [path("", include(f"teardown.{app}.urls")) for app in APPS]

handler400 = "teardown.accounts.views.not_taken"
handler403 = "teardown.accounts.views.refused"
handler404 = "teardown.accounts.views.not_found"
handler500 = "teardown.accounts.views.broken"

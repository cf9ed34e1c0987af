"""Addresses of the interface and of the page of keys."""

from django.urls import URLPattern, path

from teardown.api.views.interface import api
from teardown.api.views.keys import keys, withdraw

# Taken once: each access builds its views anew. A key is asked for by the interface itself, not the session.
_patterns, _app, _namespace = api.urls
for _pattern in _patterns:
    if isinstance(_pattern, URLPattern) and _pattern.name != "openapi-json":
        _pattern.callback.login_required = False  # type: ignore[attr-defined]

urlpatterns = [
    path("keys/", keys, name="keys"),
    path("keys/<int:pk>/withdraw/", withdraw, name="withdraw_key"),
    path("api/", (_patterns, _app, _namespace)),
]

"""Addresses of files and runs."""

from django.urls import path, register_converter

from teardown.files import views


class Digest:
    """A SHA-256 in an address."""

    regex = "[0-9a-f]{64}"

    def to_python(self, value: str) -> str:
        """Keep it as text."""
        return value

    def to_url(self, value: str) -> str:
        """Write it as it is."""
        return value


register_converter(Digest, "digest")

urlpatterns = [
    path("files/", views.arrivals, name="arrivals"),
    path("files/<digest:sha256>/", views.original, name="original"),
    path("derived/<path:name>", views.derived, name="derived"),
    path("runs/", views.runs, name="runs"),
    path("runs/<int:pk>/", views.run, name="run"),
]

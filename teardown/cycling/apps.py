"""Registers cycling with Django."""

from django.apps import AppConfig


class CyclingConfig(AppConfig):
    """What each cell did while it lived."""

    name = "teardown.cycling"
    label = "cycling"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        """Have a history summed up again when its test ends: whether 80 % was reached hangs on the reason."""
        from teardown.cells.actions.testing import test_ended
        from teardown.cycling.actions import when_test_ends

        test_ended.connect(when_test_ends, dispatch_uid="cycling")

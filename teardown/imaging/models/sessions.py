"""Sittings at the microscope, and the grey levels that hold for one."""

from django.db import models
from django.db.models import Q

from teardown.records.models import AppendOnly, Kept, Versioned


class ImagingSession(Kept, Versioned):
    """A sitting at the microscope, with one setting of brightness and contrast."""

    name = models.CharField(max_length=80, unique=True)
    on = models.DateField(null=True, blank=True)
    settings = models.JSONField(
        default=dict, blank=True, help_text="Voltage, detector, working distance, as known."
    )
    note = models.TextField(blank=True)

    class Meta:
        ordering = ["-pk"]

    def __str__(self) -> str:
        """Give its name."""
        return self.name


class Levels(AppendOnly):
    """Grey levels of resin, oxide and metal that hold for a session; the latest counts."""

    session = models.ForeignKey(ImagingSession, models.PROTECT, related_name="levels")
    pore = models.FloatField()
    oxide = models.FloatField()
    metal = models.FloatField()
    edge_sigma_px = models.FloatField(null=True, blank=True)
    source = models.CharField(max_length=20, choices=[("confirmed", "confirmed"), ("clicked", "clicked")])
    evidence = models.JSONField(
        default=dict, blank=True, help_text="Where it was clicked: micrograph, and places with their greys."
    )
    by = models.ForeignKey("accounts.User", models.PROTECT, related_name="+")
    at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(pore__lt=models.F("oxide")) & Q(oxide__lt=models.F("metal")),
                name="levels_in_order",
                violation_error_message="Resin is darkest, metal brightest, oxide between them.",
            )
        ]

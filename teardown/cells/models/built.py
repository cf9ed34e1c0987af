"""What is built: batches with their lots, cells as built, named sets of cells."""

from typing import Any, Self

from django.conf import settings
from django.db import models
from django.db.models import Exists, F, OuterRef, Q

from teardown.accounts.roles import may
from teardown.cells.models.recipes import Lot, Material, RecipeRevision
from teardown.cells.models.standing import Ever, Standing, Withdrawable, above_zero, one_standing
from teardown.cells.models.testing import Test
from teardown.records.models import AppendOnly, Kept, Versioned


class Build(Withdrawable, Kept, Versioned):
    """A batch of cells made together from one recipe revision."""

    revision = models.ForeignKey(RecipeRevision, models.PROTECT, related_name="builds")
    code = models.CharField(max_length=40)
    built_on = models.DateField()
    note = models.TextField(blank=True)

    objects = Standing()
    all_ever = Ever()

    class Meta:
        ordering = ["code"]
        constraints = [one_standing("code", "build")]

    def __str__(self) -> str:
        """Give its code."""
        return self.code


class LotUse(Kept, Versioned):
    """Which lot went into a build."""

    build = models.ForeignKey(Build, models.PROTECT, related_name="lot_uses")
    lot = models.ForeignKey(Lot, models.PROTECT, related_name="+")
    role = models.CharField(max_length=24, choices=Material.Kind)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["build", "lot", "role"], name="a_lot_once_in_a_build")]


class CellQuerySet(models.QuerySet["Cell"]):
    """Questions to cells."""

    def visible_to(self, user: Any) -> Self:
        """Only what this person may see: guests see closed cells alone."""
        if may(user, "cells.see_open"):
            return self
        return self.closed()

    def closed(self) -> Self:
        """Only cells whose dissection was closed and signed."""
        return self.filter(closed_at__isnull=False)

    def on_test(self) -> Self:
        """Only cells with a test that still runs."""
        return self.filter(Exists(Test.objects.filter(cell=OuterRef("pk"), ended_at=None)))

    def ended(self) -> Self:
        """Only cells that were tested and whose last test has ended."""
        tests = Test.objects.filter(cell=OuterRef("pk"))
        return self.filter(Exists(tests), ~Exists(tests.filter(ended_at=None)))


class Cell(Withdrawable, Kept, Versioned):
    """One cell, with what it was when built."""

    code = models.CharField(max_length=40)
    build = models.ForeignKey(Build, models.PROTECT, related_name="cells")
    time_zero = models.BooleanField(
        default=False, help_text="Opened after formation, so that others can be compared with it."
    )
    twin_of = models.ForeignKey("self", models.PROTECT, null=True, blank=True, related_name="twins")
    build_mass_g = models.FloatField(null=True, blank=True)
    iron_mass_g = models.FloatField(null=True, blank=True)
    iron_mass_u_g = models.FloatField(null=True, blank=True)
    inert_mass_g = models.FloatField(
        null=True, blank=True, help_text="Binder, conductive addition and additive in the iron electrode."
    )
    collector_mass_g = models.FloatField(null=True, blank=True)
    electrode_width_mm = models.FloatField(null=True, blank=True)
    electrode_height_mm = models.FloatField(null=True, blank=True)
    electrode_thickness_um = models.FloatField(null=True, blank=True)
    electrode_thickness_u_um = models.FloatField(null=True, blank=True)
    porosity = models.FloatField(null=True, blank=True, help_text="0 to 1.")
    porosity_u = models.FloatField(null=True, blank=True)
    electrolyte_volume_mL = models.FloatField(null=True, blank=True)
    electrolyte_KOH_mol_L = models.FloatField(null=True, blank=True)
    nominal_capacity_Ah = models.FloatField(null=True, blank=True)
    air_electrode_lot = models.ForeignKey(Lot, models.PROTECT, null=True, blank=True, related_name="+")
    closed_at = models.DateTimeField(
        null=True, blank=True, editable=False, help_text="When its dissection was signed."
    )
    search_text = models.TextField(blank=True, editable=False, help_text="Casefolded words to search in.")
    note = models.TextField(blank=True)

    objects = Standing.from_queryset(CellQuerySet)()
    all_ever = Ever()

    class Meta:
        ordering = ["code"]
        constraints = [
            one_standing("code", "cell"),
            *above_zero(
                "build_mass_g",
                "iron_mass_g",
                "electrode_width_mm",
                "electrode_height_mm",
                "electrode_thickness_um",
                "electrolyte_volume_mL",
                "electrolyte_KOH_mol_L",
                "nominal_capacity_Ah",
                model="cell",
            ),
            models.CheckConstraint(
                condition=Q(porosity__isnull=True) | Q(porosity__gt=0, porosity__lt=1),
                name="cell_porosity_0_to_1",
            ),
            models.CheckConstraint(condition=~Q(twin_of=F("pk")), name="no_cell_is_its_own_twin"),
        ]

    def __str__(self) -> str:
        """Give its code."""
        return self.code

    def get_absolute_url(self) -> str:
        """Give the address of its page."""
        from django.urls import reverse

        return reverse("cell", args=[self.code])


class FormerCode(AppendOnly):
    """A code that a cell bore before it was named rightly; it leads there as long as no other bears it."""

    cell = models.ForeignKey(Cell, models.PROTECT, related_name="former_codes")
    code = models.CharField(max_length=40, db_index=True)
    reason = models.CharField(max_length=400)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        """Give the code."""
        return self.code


class Study(Kept, Versioned):
    """A named set of cells, for export and filter. No rights hang on it."""

    name = models.CharField(max_length=80, unique=True)
    cells = models.ManyToManyField(Cell, related_name="studies", blank=True)
    note = models.TextField(blank=True)

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        """Give its name."""
        return self.name

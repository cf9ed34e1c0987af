"""Cycling files, and what was computed from them."""

from typing import ClassVar

from django.db import models
from django.db.models import Q

from teardown.cells.models import Test
from teardown.files.models import Receipt, Run
from teardown.records.guards import NEVER, Guard
from teardown.records.models import AppendOnly


class CyclingFile(AppendOnly):
    """An export of a cycler that belongs to a test."""

    test = models.ForeignKey(Test, models.PROTECT, related_name="+")
    receipt = models.ForeignKey(Receipt, models.PROTECT, related_name="+")
    column_map = models.JSONField(default=dict, help_text="How its columns were read.")
    problems = models.JSONField(default=list, blank=True)
    rows = models.PositiveIntegerField()
    supersedes = models.OneToOneField(
        "self", models.PROTECT, null=True, blank=True, related_name="superseded_by"
    )
    delivery = models.ForeignKey("files.Delivery", models.PROTECT, null=True, blank=True, related_name="+")
    withdrawn = models.BooleanField(
        default=False, help_text="A row that says so takes its predecessor out of use."
    )
    at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(rows__gt=0) | Q(withdrawn=True), name="a_cycling_file_has_rows"
            )
        ]


class ColumnMap(models.Model):
    """How files with one header are read, remembered so that the second needs no asking."""

    fingerprint = models.CharField(max_length=16, unique=True)
    document = models.JSONField()
    name = models.CharField(max_length=80, blank=True)
    at = models.DateTimeField(auto_now=True)


class Curves(models.Model):
    """Per-cycle values of a test, packed: one row a test, one array a column (float32, little endian)."""

    test = models.OneToOneField(Test, models.PROTECT, related_name="+")
    run = models.ForeignKey(Run, models.PROTECT, related_name="+")
    n = models.PositiveIntegerField()
    columns = models.JSONField()
    blob = models.BinaryField()


class TestSummary(AppendOnly):
    """What a cycling history comes to, in columns that can be asked for. The latest row of a test counts."""

    __test__ = False
    guards: ClassVar[list[Guard]] = [Guard("UPDATE", NEVER), Guard("DELETE", NEVER)]
    test = models.ForeignKey(Test, models.PROTECT, related_name="+")
    run = models.OneToOneField(Run, models.PROTECT, related_name="+")
    status = models.CharField(max_length=24, help_text="reached, reached-by-limit, censored-running, ...")
    n_cycles = models.PositiveIntegerField()
    n_complete = models.PositiveIntegerField()
    q_ref_Ah = models.FloatField(null=True, blank=True, db_index=True)
    q_ref_u_Ah = models.FloatField(null=True, blank=True)
    q_ref_cycle = models.FloatField(null=True, blank=True)
    q_first_Ah = models.FloatField(null=True, blank=True)
    q_last_Ah = models.FloatField(null=True, blank=True)
    q_last_first_plateau_Ah = models.FloatField(null=True, blank=True)
    q_ref_first_plateau_Ah = models.FloatField(null=True, blank=True)
    retention = models.FloatField(null=True, blank=True, db_index=True)
    utilisation_2e = models.FloatField(null=True, blank=True, db_index=True)
    fade_per_cycle = models.FloatField(null=True, blank=True, db_index=True)
    fade_low = models.FloatField(null=True, blank=True)
    fade_high = models.FloatField(null=True, blank=True)
    cycles_to_80 = models.FloatField(null=True, blank=True, db_index=True)
    knee_cycle = models.FloatField(null=True, blank=True, db_index=True)
    knee_low = models.FloatField(null=True, blank=True)
    knee_high = models.FloatField(null=True, blank=True)
    coulombic_efficiency = models.FloatField(null=True, blank=True, help_text="Median over complete cycles.")
    energy_efficiency = models.FloatField(null=True, blank=True)
    charge_total_Ah = models.FloatField(null=True, blank=True)
    discharge_total_Ah = models.FloatField(null=True, blank=True)
    net_u_Ah = models.FloatField(null=True, blank=True)
    duration_h = models.FloatField(null=True, blank=True)
    rate_h = models.FloatField(null=True, blank=True, help_text="Hours that a discharge takes, median.")
    q_since_full_charge_Ah = models.FloatField(null=True, blank=True)
    metrics = models.JSONField(default=dict, blank=True, help_text="Further values with their definitions.")
    problems = models.JSONField(default=list, blank=True)

    class Meta:
        ordering = ["-pk"]

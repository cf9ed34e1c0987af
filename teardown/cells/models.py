"""What is built and what is put to the test."""

import datetime as dt
from typing import Any, ClassVar, Self

from django.db import models
from django.db.models import Count, Exists, F, OuterRef, Q, Subquery
from django.db.models.functions import Coalesce
from django.utils import timezone

from teardown.accounts.roles import may
from teardown.records.guards import NEVER, Guard
from teardown.records.models import AppendOnly, Kept, Versioned


def _above_zero(*names: str, model: str) -> list[models.CheckConstraint]:
    """Say for each measure that it is above zero where it is known."""
    return [
        models.CheckConstraint(
            condition=Q(**{f"{name}__isnull": True}) | Q(**{f"{name}__gt": 0}),
            name=f"{model}_{name}_above_zero".lower(),
            violation_error_message=f"{name}: a measure like this is above zero.",
        )
        for name in names
    ]


class Withdrawable(models.Model):
    """A row that came with an import and leaves the books with it, marked and never deleted.

    ``objects`` gives what stands; ``all_ever`` gives withdrawn rows too. A code is free again once its row
    is withdrawn.
    """

    withdrawn_at = models.DateTimeField(
        null=True, blank=True, editable=False, help_text="When the import that brought it was withdrawn."
    )

    class Meta:
        abstract = True


class _Standing(models.Manager[Any]):
    """Leaves out what was withdrawn."""

    def get_queryset(self) -> models.QuerySet[Any]:
        return super().get_queryset().filter(withdrawn_at=None)


class _Ever(models.Manager[Any]):
    """Gives every row, withdrawn ones too."""


def _one_standing(field: str, model: str) -> models.UniqueConstraint:
    return models.UniqueConstraint(
        fields=[field],
        condition=Q(withdrawn_at=None),
        name=f"one_{model}_of_a_{field}",
        violation_error_message=f"There is a {model} of this {field} already.",
    )


class Material(Kept, Versioned):
    """Something that recipes are made of."""

    class Kind(models.TextChoices):
        """What it is used as."""

        IRON = "iron", "iron"
        IRON_OXIDE = "iron oxide", "iron oxide"
        ADDITIVE = "additive", "additive"
        BINDER = "binder", "binder"
        CONDUCTIVE = "conductive", "conductive addition"
        ALKALI = "alkali", "alkali"
        ELECTROLYTE_ADDITIVE = "electrolyte additive", "electrolyte additive"
        COLLECTOR = "collector", "current collector"
        SEPARATOR = "separator", "separator"
        AIR_ELECTRODE = "air electrode", "air electrode"
        REFERENCE = "reference", "reference electrode"
        OTHER = "other", "other"

    name = models.CharField(max_length=80, unique=True)
    kind = models.CharField(max_length=24, choices=Kind)
    formula = models.CharField(max_length=60, blank=True)
    constituents = models.JSONField(
        default=list,
        blank=True,
        help_text="What a caution must know: S, Li, Ni, Co, Mn, F, Se, As, Sb, Hg, K ...",
    )
    note = models.TextField(blank=True)

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        """Give its name."""
        return self.name


class Lot(Kept, Versioned):
    """One delivery of a material."""

    material = models.ForeignKey(Material, models.PROTECT, related_name="lots")
    code = models.CharField(max_length=40)
    received_on = models.DateField(null=True, blank=True)
    purity = models.FloatField(
        null=True, blank=True, help_text="Mass fraction of the named material, 0 to 1."
    )
    purity_u = models.FloatField(null=True, blank=True)
    note = models.TextField(blank=True)

    class Meta:
        ordering = ["material", "code"]
        constraints = [
            models.UniqueConstraint(fields=["material", "code"], name="one_lot_of_a_code"),
            models.CheckConstraint(
                condition=Q(purity__isnull=True) | Q(purity__gt=0, purity__lte=1), name="purity_0_to_1"
            ),
        ]

    def __str__(self) -> str:
        """Give material and code."""
        return f"{self.material}, lot {self.code}"


class Recipe(Withdrawable, Kept, Versioned):
    """What a cell is to be made of. Its content lives in revisions."""

    code = models.CharField(max_length=40)
    title = models.CharField(max_length=160)
    note = models.TextField(blank=True)

    objects = _Standing()
    all_ever = _Ever()

    class Meta:
        ordering = ["code"]
        constraints = [_one_standing("code", "recipe")]

    def __str__(self) -> str:
        """Give its code."""
        return self.code


class RecipeRevisionQuerySet(models.QuerySet["RecipeRevision"]):
    """Questions to recipes."""

    def with_factors(self) -> Self:
        """Add each factor of a recipe as a column: iron, alkali, additive, their amounts, air electrode."""

        def part(role: str, field: str) -> Subquery:
            return Subquery(
                RecipePart.objects.filter(revision=OuterRef("pk"), role=role).order_by("pk").values(field)[:1]
            )

        return self.annotate(
            iron=part("iron", "material__name"),
            alkali=part("alkali", "material__name"),
            alkali_mol_L=part("alkali", "amount"),
            additive=part("additive", "material__name"),
            additive_share=part("additive", "amount"),
            air_electrode=part("air electrode", "material__name"),
        )

    def newest(self) -> Self:
        """Only the newest revision of each recipe that stands."""
        later = RecipeRevision.objects.filter(recipe=OuterRef("recipe"), number__gt=OuterRef("number"))
        return self.filter(~Exists(later), recipe__withdrawn_at=None)

    def with_counts(self) -> Self:
        """Add how many revisions, builds and cells the recipe has."""

        def count(rows: models.QuerySet[Any], path: str) -> Coalesce:
            counted = rows.order_by().values(path).annotate(n=Count("pk")).values("n")
            return Coalesce(Subquery(counted, output_field=models.IntegerField()), 0)

        recipe = OuterRef("recipe")
        return self.annotate(
            n_revisions=count(RecipeRevision.objects.filter(recipe=recipe), "recipe"),
            n_builds=count(Build.objects.filter(revision__recipe=recipe), "revision__recipe"),
            n_cells=count(Cell.objects.filter(build__revision__recipe=recipe), "build__revision__recipe"),
        )


class RecipeRevision(Withdrawable, Kept):
    """One state of a recipe. Frozen by its first build: after that, a change is a new revision."""

    guards: ClassVar[list[Guard]] = [
        Guard("DELETE", NEVER),
        Guard(
            "UPDATE",
            "OLD.frozen_at IS NOT NULL AND (NEW.withdrawn_at IS NULL OR OLD.withdrawn_at IS NOT NULL"
            " OR OLD.recipe_id <> NEW.recipe_id OR OLD.number <> NEW.number"
            " OR OLD.changed_because <> NEW.changed_because)",
            "A recipe that has been built is never edited: make a new revision",
        ),
    ]
    recipe = models.ForeignKey(Recipe, models.PROTECT, related_name="revisions")
    number = models.PositiveIntegerField()
    changed_because = models.TextField(blank=True)
    frozen_at = models.DateTimeField(null=True, blank=True)
    made_at = models.DateTimeField(auto_now_add=True)

    objects = _Standing.from_queryset(RecipeRevisionQuerySet)()
    all_ever = _Ever()

    class Meta:
        ordering = ["recipe", "number"]
        constraints = [models.UniqueConstraint(fields=["recipe", "number"], name="one_revision_of_a_number")]

    def __str__(self) -> str:
        """Give code and number."""
        return f"{self.recipe} rev {self.number}"

    def freeze(self, at: dt.datetime | None = None) -> None:
        """Freeze it, if nothing has yet."""
        type(self).objects.filter(pk=self.pk, frozen_at=None).update(frozen_at=at or timezone.now())


_FROZEN = (
    "EXISTS (SELECT 1 FROM cells_reciperevision r WHERE r.id = {row}.revision_id AND r.frozen_at IS NOT NULL)"
)


class RecipePart(models.Model):
    """A material in a recipe, with its amount."""

    class Unit(models.TextChoices):
        """Units that amounts are given in."""

        G = "g", "g"
        MG = "mg", "mg"
        FRACTION = "1", "mass fraction"
        MOL_L = "mol/L", "mol/L"
        ML = "mL", "mL"
        CM2 = "cm2", "cm²"
        PIECE = "piece", "piece"

    class Basis(models.TextChoices):
        """What a fraction is a fraction of."""

        CELL = "cell", "in the cell"
        IRON = "iron", "of the iron"
        ELECTRODE = "electrode", "of the dry electrode"
        ELECTROLYTE = "electrolyte", "in the electrolyte"

    guards: ClassVar[list[Guard]] = [
        Guard(
            "INSERT",
            _FROZEN.format(row="NEW"),
            "A recipe that has been built is never edited: make a new revision",
        ),
        Guard(
            "UPDATE",
            _FROZEN.format(row="OLD"),
            "A recipe that has been built is never edited: make a new revision",
        ),
        Guard(
            "DELETE",
            _FROZEN.format(row="OLD"),
            "A recipe that has been built is never edited: make a new revision",
        ),
    ]
    revision = models.ForeignKey(RecipeRevision, models.PROTECT, related_name="parts")
    role = models.CharField(max_length=24, choices=Material.Kind)
    material = models.ForeignKey(Material, models.PROTECT, related_name="+")
    amount = models.FloatField()
    unit = models.CharField(max_length=8, choices=Unit)
    basis = models.CharField(max_length=12, choices=Basis, default=Basis.CELL)

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["revision", "role", "material"], name="a_material_once_in_a_role"
            ),
            models.CheckConstraint(condition=Q(amount__gte=0), name="amount_not_negative"),
            models.CheckConstraint(
                condition=~Q(unit="1") | Q(amount__lte=1), name="a_fraction_is_at_most_one"
            ),
        ]


class Protocol(Kept, Versioned):
    """How cells are cycled. Its content lives in revisions."""

    code = models.CharField(max_length=40, unique=True)
    title = models.CharField(max_length=160)

    class Meta:
        ordering = ["code"]

    def __str__(self) -> str:
        """Give its code."""
        return self.code


class ProtocolRevision(Kept):
    """One state of a protocol; frozen by the first test."""

    guards: ClassVar[list[Guard]] = [
        Guard("DELETE", NEVER),
        Guard(
            "UPDATE",
            "OLD.frozen_at IS NOT NULL",
            "A protocol that has been run is never edited: make a new revision",
        ),
    ]
    protocol = models.ForeignKey(Protocol, models.PROTECT, related_name="revisions")
    number = models.PositiveIntegerField()
    words = models.TextField(blank=True)
    charge_current_A = models.FloatField(null=True, blank=True)
    discharge_current_A = models.FloatField(null=True, blank=True)
    charge_limit_Ah = models.FloatField(null=True, blank=True)
    discharge_limit_V = models.FloatField(null=True, blank=True)
    rest_h = models.FloatField(null=True, blank=True)
    capacity_limit = models.FloatField(
        null=True, blank=True, help_text="The test ends below this share of reference capacity."
    )
    first_plateau_limit_V = models.FloatField(null=True, blank=True)
    begins_with = models.CharField(
        max_length=10, choices=[("charge", "charge"), ("discharge", "discharge")], default="charge"
    )
    frozen_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["protocol", "number"]
        constraints = [
            models.UniqueConstraint(fields=["protocol", "number"], name="one_protocol_revision_of_a_number")
        ]

    def __str__(self) -> str:
        """Give code and number."""
        return f"{self.protocol} rev {self.number}"

    def freeze(self, at: dt.datetime | None = None) -> None:
        """Freeze it, if nothing has yet."""
        type(self).objects.filter(pk=self.pk, frozen_at=None).update(frozen_at=at or timezone.now())


class Build(Withdrawable, Kept, Versioned):
    """A batch of cells made together from one recipe revision."""

    revision = models.ForeignKey(RecipeRevision, models.PROTECT, related_name="builds")
    code = models.CharField(max_length=40)
    built_on = models.DateField()
    note = models.TextField(blank=True)

    objects = _Standing()
    all_ever = _Ever()

    class Meta:
        ordering = ["code"]
        constraints = [_one_standing("code", "build")]

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

    objects = _Standing.from_queryset(CellQuerySet)()
    all_ever = _Ever()

    class Meta:
        ordering = ["code"]
        constraints = [
            _one_standing("code", "cell"),
            *_above_zero(
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


class Chamber(Kept, Versioned):
    """Where cells are held at a temperature."""

    name = models.CharField(max_length=40, unique=True)
    note = models.TextField(blank=True)

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        """Give its name."""
        return self.name


class Position(Kept, Versioned):
    """A place in a chamber."""

    chamber = models.ForeignKey(Chamber, models.PROTECT, related_name="positions")
    name = models.CharField(max_length=40)

    class Meta:
        ordering = ["chamber", "name"]
        constraints = [models.UniqueConstraint(fields=["chamber", "name"], name="one_position_of_a_name")]

    def __str__(self) -> str:
        """Give chamber and place."""
        return f"{self.chamber}, place {self.name}"


class Channel(Kept, Versioned):
    """A channel of a cycler."""

    name = models.CharField(max_length=40, unique=True)

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        """Give its name."""
        return self.name


class ChannelAccuracy(AppendOnly):
    """How far a channel may be off, from a day on."""

    channel = models.ForeignKey(Channel, models.PROTECT, related_name="accuracies")
    range_A = models.FloatField()
    gain_pct = models.FloatField(help_text="Of reading.")
    offset_pct = models.FloatField(help_text="Of range.")
    valid_from = models.DateField()

    class Meta:
        ordering = ["channel", "valid_from"]
        constraints = [
            models.CheckConstraint(
                condition=Q(range_A__gt=0, gain_pct__gte=0, offset_pct__gte=0), name="accuracy_makes_sense"
            )
        ]


class TestQuerySet(models.QuerySet["Test"]):
    """Questions to tests."""

    def running(self) -> Self:
        """Only tests that have not ended."""
        return self.filter(ended_at=None)

    def visible_to(self, user: Any) -> Self:
        """Only tests of cells that this person may see."""
        return self.filter(cell__in=Cell.objects.visible_to(user))

    def with_seat(self) -> Self:
        """Add the last held temperature, chamber, place and channel as columns."""
        seats = Seat.objects.filter(test=OuterRef("pk")).order_by("-since", "-pk")

        def last(field: str) -> Subquery:
            return Subquery(seats.values(field)[:1])

        return self.annotate(
            temperature_C=last("set_temperature_C"),
            chamber=last("position__chamber__name"),
            place=last("position__name"),
            channel=last("channel__name"),
        )

    def censored(self) -> Self:
        """Only tests whose end says nothing about failure, and those that still run."""
        return self.filter(Q(ended_at=None) | Q(end__data__censors=True))


class Test(Kept, Versioned):
    """One test of a cell, from start to its end and the reason for it."""

    __test__ = False  # a row of the lab's books, not a case for pytest
    cell = models.ForeignKey(Cell, models.PROTECT, related_name="tests")
    number = models.PositiveSmallIntegerField(default=1)
    protocol = models.ForeignKey(ProtocolRevision, models.PROTECT, related_name="+")
    started_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True)
    end = models.ForeignKey("vocabulary.Term", models.PROTECT, null=True, blank=True, related_name="+")
    end_note = models.TextField(blank=True)
    state_at_stop = models.CharField(
        max_length=12,
        blank=True,
        choices=[
            ("charged", "charged"),
            ("discharged", "discharged"),
            ("part", "part charged"),
            ("unknown", "unknown"),
        ],
    )

    objects = TestQuerySet.as_manager()

    class Meta:
        ordering = ["cell", "number"]
        constraints = [
            models.UniqueConstraint(fields=["cell", "number"], name="one_test_of_a_number"),
            models.UniqueConstraint(
                fields=["cell"],
                condition=Q(ended_at=None),
                name="one_open_test_a_cell",
                violation_error_message="This cell is on test already: end that test first.",
            ),
            models.CheckConstraint(
                condition=Q(ended_at__isnull=True, end__isnull=True)
                | Q(ended_at__isnull=False, end__isnull=False),
                name="an_ended_test_has_a_reason",
                violation_error_message="Give the end its reason.",
            ),
            models.CheckConstraint(
                condition=Q(ended_at__isnull=True) | Q(ended_at__gte=F("started_at")),
                name="a_test_ends_after_it_starts",
                violation_error_message="A test ends after it starts.",
            ),
        ]

    def __str__(self) -> str:
        """Give cell and number."""
        return f"{self.cell}, test {self.number}"


class Seat(Kept, Versioned):
    """Where a test sat: place, channel and held temperature, from when to when."""

    test = models.ForeignKey(Test, models.PROTECT, related_name="seats")
    position = models.ForeignKey(Position, models.PROTECT, related_name="seats")
    channel = models.ForeignKey(Channel, models.PROTECT, null=True, blank=True, related_name="+")
    set_temperature_C = models.FloatField(null=True, blank=True)
    since = models.DateTimeField()
    until = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["test", "since"]
        constraints = [
            models.UniqueConstraint(
                fields=["position"],
                condition=Q(until=None),
                name="one_open_seat_a_position",
                violation_error_message="Another test still sits at this place.",
            ),
            models.UniqueConstraint(fields=["test"], condition=Q(until=None), name="one_open_seat_a_test"),
            models.CheckConstraint(
                condition=Q(until__isnull=True) | Q(until__gte=F("since")), name="a_seat_ends_after_it_starts"
            ),
            models.CheckConstraint(
                condition=Q(set_temperature_C__isnull=True)
                | Q(set_temperature_C__gte=-40, set_temperature_C__lte=120),
                name="a_chamber_temperature",
                violation_error_message="A chamber holds between −40 and 120 °C.",
            ),
        ]

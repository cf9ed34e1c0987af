"""What cells are made to: materials with their lots, recipes with their revisions and parts."""

import datetime as dt
from typing import ClassVar, Self

from django.db import models
from django.db.models import Count, Exists, OuterRef, Q, Subquery
from django.db.models.functions import Coalesce
from django.utils import timezone

from teardown.cells.models.standing import Ever, Standing, Withdrawable, one_standing
from teardown.records.guards import NEVER, Guard
from teardown.records.models import Kept, Versioned


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

    objects = Standing()
    all_ever = Ever()

    class Meta:
        ordering = ["code"]
        constraints = [one_standing("code", "recipe")]

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

        def count(path: str) -> Coalesce:
            standing = Q(**{f"{path}__withdrawn_at": None}) if path else Q()
            counted = (
                RecipeRevision.objects.filter(recipe=OuterRef("recipe"))
                .order_by()
                .values("recipe")
                .annotate(n=Count(path or "pk", filter=standing, distinct=True))
                .values("n")
            )
            return Coalesce(Subquery(counted, output_field=models.IntegerField()), 0)

        return self.annotate(n_revisions=count(""), n_builds=count("builds"), n_cells=count("builds__cells"))


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

    objects = Standing.from_queryset(RecipeRevisionQuerySet)()
    all_ever = Ever()

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

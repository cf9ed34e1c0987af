"""Materials, lots, recipes, builds, cells."""

from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from teardown.cells.actions.cells import AS_BUILT
from teardown.cells.forms.fields import CellField, CodesField, DayField, SeenForm
from teardown.cells.intake.cell_columns import COLUMNS
from teardown.cells.models import Lot, Material, RecipePart, RecipeRevision
from teardown.page.fields import NumberField

_COLUMNS = {column.key: column for column in COLUMNS}


class MaterialForm(forms.Form):
    """A new material."""

    name = forms.CharField(max_length=80, label="name")
    kind = forms.ChoiceField(choices=Material.Kind.choices, label="kind")
    formula = forms.CharField(max_length=60, required=False, label="formula")
    constituents = forms.CharField(
        required=False,
        help_text="Elements that a caution must know, as Bi S Li. Without any, those of the formula.",
        label="constituents",
    )
    note = forms.CharField(widget=forms.Textarea, required=False, label="note")


class LotForm(forms.Form):
    """A delivery of a material."""

    code = forms.CharField(max_length=40, label="lot")
    received_on = DayField(required=False, label="received on")
    purity = NumberField(
        unit="%",
        above=0,
        high=100,
        required=False,
        help_text="Mass percent of the named material.",
        label="purity",
    )
    purity_u = NumberField(
        unit="%", low=0, high=100, required=False, label="standard uncertainty of the purity"
    )
    note = forms.CharField(max_length=500, required=False, label="note")

    def deed(self) -> dict[str, Any]:
        """Give the values in the units of the books: fractions."""
        values = dict(self.cleaned_data)
        for name in ("purity", "purity_u"):
            values[name] = None if values[name] is None else float(values[name]) / 100
        return values


class RecipeForm(forms.Form):
    """A new recipe; its parts are in their own rows."""

    code = forms.CharField(max_length=40, label="code")
    title = forms.CharField(max_length=160, help_text="What it is, in words.", label="title")
    note = forms.CharField(widget=forms.Textarea, required=False, label="note")


class RenameForm(SeenForm):
    """Title and note of a recipe."""

    title = forms.CharField(max_length=160, label="title")
    note = forms.CharField(widget=forms.Textarea, required=False, label="note")


class ReviseForm(forms.Form):
    """Why a recipe changes."""

    because = forms.CharField(max_length=400, label="why it changes")


class PartForm(forms.Form):
    """One material of a recipe; an empty row is no part."""

    role = forms.ChoiceField(choices=[("", "no part"), *Material.Kind.choices], required=False, label="role")
    material = forms.ModelChoiceField(
        queryset=Material.objects.all(), required=False, empty_label="choose a material"
    )
    amount = NumberField(low=0, required=False, label="amount")
    unit = forms.ChoiceField(
        choices=[("%", "%"), *[choice for choice in RecipePart.Unit.choices if choice[0] != "1"]],
        initial="g",
        label="unit",
    )
    basis = forms.ChoiceField(choices=RecipePart.Basis.choices, initial="cell", label="of what")

    def clean(self) -> dict[str, Any]:
        """Hold a row that is begun to being whole."""
        data: dict[str, Any] = super().clean() or {}
        if data.get("role") and not (data.get("material") and data.get("amount") is not None):
            raise ValidationError("Give this part its material and amount, or choose “no part”.")
        if not data.get("role") and data.get("material"):
            raise ValidationError("Say what this material is used as.")
        return data


PartFormSet = forms.formset_factory(PartForm, extra=4, max_num=30, absolute_max=40)


class BuildForm(forms.Form):
    """A new batch of cells, with the lot that went in for each role of the recipe."""

    code = forms.CharField(max_length=40, label="code")
    built_on = DayField(label="built on")
    note = forms.CharField(widget=forms.Textarea, required=False, label="note")

    def __init__(self, *args: Any, revision: RecipeRevision, **kwargs: Any) -> None:
        """Ask for the lot of each part that has lots."""
        super().__init__(*args, **kwargs)
        self.lots: list[tuple[str, str]] = []
        for part in revision.parts.select_related("material").prefetch_related("material__lots"):
            if part.material.lots.exists():
                name = f"lot_{part.pk}"
                self.lots.append((part.role, name))
                self.fields[name] = forms.ModelChoiceField(
                    queryset=Lot.objects.filter(material=part.material).select_related("material"),
                    required=False,
                    label=f"lot of {part.material}",
                    empty_label="not noted",
                )

    def chosen_lots(self) -> list[tuple[str, Lot]]:
        """Give the lots that were chosen, with their roles."""
        chosen = [(role, self.cleaned_data.get(name)) for role, name in self.lots]
        return [(role, lot) for role, lot in chosen if lot]


def _as_built_fields() -> dict[str, forms.Field]:
    fields: dict[str, forms.Field] = {}
    for key in AS_BUILT:
        column = _COLUMNS[key]
        percent = column.kind == "fraction"
        fields[key] = NumberField(
            unit="%" if percent else next(iter(column.units)),
            above=0,
            high=100 if percent else None,
            required=False,
            label=column.words,
            help_text=column.help,
        )
    return fields


class AsBuiltForm(forms.Form):
    """What a cell was when built."""

    time_zero = forms.BooleanField(required=False, label="opened right after formation, to compare with")
    twin_of = CellField(required=False, label="twin of", help_text="Code of the cell to compare with.")
    note = forms.CharField(widget=forms.Textarea, required=False, label="note")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        """Put the measures first."""
        super().__init__(*args, **kwargs)
        self.fields = {**_as_built_fields(), **self.fields}
        last: list[str] = [name for name in ("seen", "reason") if name in self.fields]
        self.order_fields([n for n in self.fields if n not in last] + last)

    def as_built(self) -> dict[str, float | None]:
        """Give the measures in the units of the books; a porosity as a fraction."""
        values: dict[str, Any] = {key: self.cleaned_data.get(key) for key in AS_BUILT}
        for key in ("porosity", "porosity_u"):
            if values[key] is not None:
                values[key] = float(f"{float(values[key]) / 100:.15g}")
        return values


class CellForm(AsBuiltForm):
    """A new cell of a build."""

    code = forms.CharField(max_length=40, label="code")
    field_order = ["code"]


class AmendCellForm(AsBuiltForm, SeenForm):
    """A correction of a cell as built."""

    reason = forms.CharField(max_length=400, label="why it is corrected")


class StudyForm(forms.Form):
    """A named set of cells."""

    name = forms.CharField(max_length=80, label="name")
    note = forms.CharField(widget=forms.Textarea, required=False, label="note")
    cells = CodesField(label="codes of its cells", required=False)


class ChangeStudyForm(StudyForm, SeenForm):
    """A change of a named set."""

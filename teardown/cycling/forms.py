"""What may be typed into the pages of cycling."""

from typing import TYPE_CHECKING, Any

from django import forms
from django.core.exceptions import ValidationError

from teardown.cells.models import Recipe
from teardown.formats.series_columns import flows_down
from teardown.formats.series_units import UNITS, factor_of
from teardown.science.electrochemistry.columns import BDF, QUANTITIES

MOST_RECIPES = 6
OFFERED = (
    "test_time_second",
    "unix_time_second",
    "step_time_second",
    "voltage_volt",
    "current_ampere",
    "cycle_count",
    "step_count",
    "step_id",
    "step_type",
    "record_index",
    "ambient_temperature_celsius",
    "charging_capacity_ah",
    "discharging_capacity_ah",
    "net_capacity_ah",
    "cumulative_capacity_ah",
    "charging_energy_wh",
    "discharging_energy_wh",
    "internal_resistance_ohm",
    "dc_internal_resistance_ohm",
    "ac_internal_resistance_ohm",
)
DIMENSION = {
    "test_time_second": "time",
    "step_time_second": "time",
    "voltage_volt": "voltage",
    "current_ampere": "current",
    "ambient_temperature_celsius": "temperature",
    "charging_capacity_ah": "charge",
    "discharging_capacity_ah": "charge",
    "net_capacity_ah": "charge",
    "cumulative_capacity_ah": "charge",
    "charging_energy_wh": "energy",
    "discharging_energy_wh": "energy",
    "internal_resistance_ohm": "resistance",
    "dc_internal_resistance_ohm": "resistance",
    "ac_internal_resistance_ohm": "resistance",
}
SHOWN_UNITS = {
    "time": ("s", "ms", "min", "h", "d"),
    "voltage": ("V", "mV", "µV"),
    "current": ("A", "mA", "µA"),
    "charge": ("Ah", "mAh", "µAh", "As"),
    "energy": ("Wh", "mWh", "J"),
    "temperature": ("°C", "K"),
    "resistance": ("ohm", "mohm"),
}


class UploadForm(forms.Form):
    """A file of a cycler."""

    file = forms.FileField(
        label="Cycling file",
        help_text="Text, workbook (XLSX) or Battery Data Format; as the cycler wrote it.",
    )


if TYPE_CHECKING:
    RecipeField = forms.ModelMultipleChoiceField[Recipe]
else:  # at run time the class takes no argument
    RecipeField = forms.ModelMultipleChoiceField


class _Recipes(RecipeField):
    """Recipes by code and title."""

    def label_from_instance(self, obj: Any) -> str:
        """Name a recipe."""
        return f"{obj.code}: {obj.title}" if obj.title else str(obj.code)


class RecipesForm(forms.Form):
    """Recipes to lay over each other."""

    recipe = _Recipes(
        Recipe.objects.all(),
        label="Recipes",
        to_field_name="code",
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text=f"Up to {MOST_RECIPES}; each needs three cells with a cycling file for a median.",
    )

    def clean_recipe(self) -> list[Recipe]:
        """Refuse more recipes than curves can be told apart."""
        found = list(self.cleaned_data["recipe"].order_by("code"))
        if len(found) > MOST_RECIPES:
            raise ValidationError(
                f"{len(found)} recipes cannot be told apart; choose {MOST_RECIPES} at most."
            )
        return found

    @property
    def chosen(self) -> list[Recipe]:
        """Give the recipes that were chosen; none where they cannot be drawn."""
        return list(self.cleaned_data["recipe"]) if self.is_valid() else []


class ReasonForm(forms.Form):
    """Why an import is taken back."""

    reason = forms.CharField(label="Reason", max_length=400, help_text="It stays in the records.")


class MapForm(forms.Form):
    """Which column is which, in which unit, and which way the current counts."""

    sign = forms.ChoiceField(
        label="Positive current",
        choices=[("auto", "as the voltage shows"), ("1", "charges"), ("-1", "discharges")],
        help_text="A choice that the voltage contradicts is refused.",
    )
    timezone = forms.CharField(
        label="Time zone of dates",
        required=False,
        max_length=40,
        help_text="e.g. Europe/Berlin; only for dates.",
    )
    date_form = forms.CharField(
        label="Form of dates", required=False, max_length=40, help_text="e.g. %d.%m.%Y %H:%M:%S"
    )

    def __init__(self, *args: Any, names: list[str], document: dict[str, Any], **kwargs: Any) -> None:
        """Make two boxes a column: what it is, and its unit; filled as the file was read so far."""
        super().__init__(*args, **kwargs)
        self.names = names
        self.document = document
        read = {f["name"]: f for f in document.get("schema", {}).get("fields", [])}
        for k, name in enumerate(names):
            field = read.get(name, {})
            quantity = str(field.get("rdfType", "")).rpartition("#")[2]
            offered = [("", "not read"), *((q, QUANTITIES[q].label.split(" / ")[0].lower()) for q in OFFERED)]
            self.fields[f"quantity_{k}"] = forms.ChoiceField(
                label=name, choices=offered, required=False, initial=quantity if quantity in OFFERED else ""
            )
            self.fields[f"unit_{k}"] = forms.ChoiceField(
                label=f"unit of {name}", choices=_units(), required=False, initial=_unit_of(quantity, field)
            )
        current: dict[str, Any] = next(
            (f for f in read.values() if str(f.get("rdfType", "")).endswith("#current_ampere")), {}
        )
        self.fields["sign"].initial = str(current.get("sign", "auto"))

    def rows(self) -> list[tuple[str, forms.BoundField, forms.BoundField]]:
        """Give the boxes of each column."""
        return [(name, self[f"quantity_{k}"], self[f"unit_{k}"]) for k, name in enumerate(self.names)]

    def clean(self) -> dict[str, Any]:
        """Turn the boxes into a column map document."""
        data: dict[str, Any] = super().clean() or {}
        fields: list[dict[str, Any]] = []
        seen: set[str] = set()
        for k, name in enumerate(self.names):
            quantity = data.get(f"quantity_{k}", "")
            if not quantity:
                continue
            current = [f["name"] for f in fields if f["rdfType"] == BDF + "current_ampere"]
            both = quantity == "current_ampere" and len(current) == 1
            if quantity in seen and not (both and flows_down(name) != flows_down(current[0])):
                raise ValidationError(
                    f"Two columns are read as {QUANTITIES[quantity].label.split(' / ')[0].lower()}."
                )
            seen.add(quantity)
            fields.append(self._field(name, quantity, data.get(f"unit_{k}", ""), data))
        currents = [f for f in fields if f["rdfType"] == BDF + "current_ampere"]
        if len(currents) == 2:  # one column for each direction
            for f in currents:
                f["factor"] *= -1 if flows_down(f["name"]) else 1
        if not {"voltage_volt", "current_ampere"} <= seen:
            raise ValidationError("Say which columns are voltage and current.")
        if not seen & {"test_time_second", "unix_time_second", "step_time_second"}:
            raise ValidationError("Say which column is a time.")
        data["document"] = {"schema": {"fieldsMatch": "superset", "fields": fields}}
        return data

    def _field(self, name: str, quantity: str, unit: str, data: dict[str, Any]) -> dict[str, Any]:
        field: dict[str, Any] = {"name": name, "rdfType": BDF + quantity, "type": "number"}
        before = {f["name"]: f for f in self.document.get("schema", {}).get("fields", [])}.get(name, {})
        if quantity == "step_type":
            return field | {"type": "string"}
        if quantity == "unix_time_second" and before.get("type", "datetime") == "datetime":
            field |= {"type": "datetime", "format": data.get("date_form") or "any"}
            return field | ({"timezone": data["timezone"]} if data.get("timezone") else {})
        if unit == "hh:mm:ss":
            return field | {"type": "duration"}
        dimension = DIMENSION.get(quantity)
        if dimension:
            scale = factor_of(unit, dimension, "") if unit else None
            if scale is None:
                raise ValidationError(f"Choose a unit of {dimension} for “{name}”.")
            field |= {"factor": scale[0], "offset": scale[1]}
        if quantity == "current_ampere":
            field["sign"] = data["sign"] if data.get("sign") == "auto" else int(data.get("sign", "1"))
        return field


def _units() -> list[tuple[str, str]]:
    """List the units that can be chosen."""
    return [("", "–"), ("hh:mm:ss", "hh:mm:ss"), *((u, u) for units in SHOWN_UNITS.values() for u in units)]


def _unit_of(quantity: str, field: dict[str, Any]) -> str:
    """Find the unit that a factor stands for."""
    if field.get("type") == "duration":
        return "hh:mm:ss"
    for unit in SHOWN_UNITS.get(DIMENSION.get(quantity, ""), ()):
        if abs(UNITS.get(unit.lower(), ("", 0.0))[1] - abs(float(field.get("factor", 0)))) < 1e-12:
            return unit
    return ""

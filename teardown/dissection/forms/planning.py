"""What is sampled and asked of a cell, decided before it is opened."""

from collections import Counter
from collections.abc import Mapping
from typing import Any

from django import forms

from teardown.cells.models import Cell
from teardown.dissection.models import PlanTemplate
from teardown.vocabulary.models import Term

USUAL_PLAN = (
    ("component.iron_electrode", "technique.section", "M2"),
    ("component.iron_electrode", "technique.section", "T2"),
    ("component.iron_electrode", "technique.diffraction", "M2"),
    ("component.air_electrode", "technique.map", "M2"),
    ("component.electrolyte", "technique.titration", ""),
    ("component.electrolyte", "technique.elements", ""),
    ("component.iron_electrode", "technique.archive", ""),
)


class TemplateField(forms.ModelChoiceField):  # type: ignore[type-arg]
    """A plan of the house; whoever does not see the recipe chooses it by what is sampled, not by its name."""

    techniques: Mapping[str, str] | None = None
    """Words of the techniques, for whoever does not see the recipe."""

    def label_from_instance(self, obj: Any) -> str:
        """Give its name, or how much of which technique it asks for."""
        words = self.techniques
        if words is None:
            return str(obj)
        number = Counter(str(row.get("technique", "")).removeprefix("technique.") for row in obj.items)
        pieces = "; ".join(
            f"{count} × {words.get(f'technique.{key}', key)}" for key, count in number.items() if key
        )
        whom = "for cells such as this" if obj.family else "for any cell"
        return f"{whom}: {pieces or 'nothing yet'}"


class PlanForm(forms.Form):
    """Pieces by technique and place, and at most three questions."""

    template = TemplateField(
        PlanTemplate.objects.filter(retired_at=None),
        required=False,
        empty_label="the usual pieces, chosen below",
    )

    def __init__(self, *args: Any, cell: Cell, blind: bool, **kwargs: Any) -> None:
        """Offer the plans that fit the recipe, and the usual pieces."""
        super().__init__(*args, **kwargs)
        offered = self.fields["template"]
        assert isinstance(offered, TemplateField)
        code = str(cell.build.revision).casefold()
        known = PlanTemplate.objects.filter(retired_at=None)
        fitting = [template.pk for template in known if template.family.casefold() in code]
        offered.queryset = known.filter(pk__in=fitting)
        components = dict(Term.objects.of("component").values_list("key", "words"))
        techniques = dict(Term.objects.of("technique").values_list("key", "words"))
        offered.techniques = techniques if blind else None
        self.rows = []
        for number, (component, technique, place) in enumerate(USUAL_PLAN):
            name = f"piece_{number}"
            where = f" at {place}" if place else ""
            self.fields[name] = forms.BooleanField(
                required=False,
                initial=True,
                label=f"{components[component]}{where}: {techniques[technique]}",
            )
            self.rows.append((name, component, technique, place))
        for number in range(1, 4):
            self.fields[f"question_{number}"] = forms.CharField(
                required=False,
                max_length=200,
                label=f"Question {number}",
                widget=forms.TextInput(attrs={"size": 60}),
            )

    def items(self) -> list[dict[str, str]]:
        """Give the pieces chosen."""
        template = self.cleaned_data.get("template")
        if template is not None:
            return list(template.items)
        return [
            {"component": component, "technique": technique, "place": place}
            for name, component, technique, place in self.rows
            if self.cleaned_data.get(name)
        ]

    def questions(self) -> list[str]:
        """Give the questions."""
        return [self.cleaned_data[f"question_{number}"] for number in range(1, 4)]

"""Fields that several forms of this app share."""

import datetime as dt
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone

from teardown.cells.models import Cell


class DayField(forms.DateField):
    """A day, with the browser's own calendar."""

    widget = forms.DateInput(attrs={"type": "date"})


class MomentField(forms.DateTimeField):
    """A moment in local time, with the browser's own clock; not in the future."""

    widget = forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M")

    def __init__(self, **kwargs: Any) -> None:
        """Take what browsers send."""
        super().__init__(input_formats=["%Y-%m-%dT%H:%M", "%Y-%m-%dT%H:%M:%S", "%Y-%m-%d %H:%M"], **kwargs)

    def validate(self, value: dt.datetime | None) -> None:
        """Refuse what has not happened yet."""
        super().validate(value)
        if value is not None and value > timezone.now() + dt.timedelta(minutes=5):
            raise ValidationError("This lies in the future; give a moment that has passed.")


class CellField(forms.CharField):
    """A cell, by its code."""

    def clean(self, value: Any) -> Any:
        """Find the cell, in any case of its letters."""
        code = super().clean(value).strip()
        if not code:
            return None
        found = Cell.objects.filter(code__iexact=code).first()
        if found is None:
            raise ValidationError(f"No cell {code} is known.")
        return found


class CodesField(forms.CharField):
    """Cells, by their codes, parted by spaces, commas or lines."""

    widget = forms.Textarea

    def clean(self, value: Any) -> Any:
        """Find the cells; name each code that is not known."""
        codes = list(dict.fromkeys(super().clean(value).replace(",", " ").replace(";", " ").split()))
        found = {cell.code.casefold(): cell for cell in Cell.objects.filter(code__in=codes)}
        if unknown := [code for code in codes if code.casefold() not in found]:
            raise ValidationError(f"Not known: {', '.join(unknown[:10])}.")
        return [found[code.casefold()] for code in codes]


class SeenForm(forms.Form):
    """A form that remembers which version of a row the person saw."""

    seen = forms.IntegerField(widget=forms.HiddenInput)

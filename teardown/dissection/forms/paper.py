"""A paper sheet to be typed in: its pages, its day, who saw."""

import datetime as dt
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from teardown.accounts.models import User
from teardown.dissection.forms.older import DayField, ManyFilesField


class PaperForm(forms.Form):
    """The photographed sheet, whole, before anything is typed in from it."""

    pages = ManyFilesField(
        label="The photographed sheet",
        help_text="Every page, as JPEG, PNG, TIFF or PDF. It is kept as the original.",
    )
    dated_on = DayField(label="Day on the sheet", help_text="As 2031-03-04.")
    observer = forms.ModelChoiceField(
        User.objects.filter(is_active=True),
        required=False,
        label="Seen by",
        empty_label="somebody without account",
    )
    observer_named = forms.CharField(required=False, max_length=80, label="or, as the sheet names them")

    def clean_dated_on(self) -> dt.date:
        """Give it as a day."""
        return dt.date.fromisoformat(self.cleaned_data["dated_on"])

    def clean(self) -> dict[str, Any]:
        """Ask for one name."""
        found = super().clean() or {}
        if found.get("observer") and found.get("observer_named", "").strip():
            raise ValidationError("Name the one who saw once: from the list, or as the sheet does.")
        return found

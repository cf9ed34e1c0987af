"""What is typed about keys."""

from typing import Any

from django import forms

from teardown.accounts.models import User


class KeyForm(forms.Form):
    """A new key."""

    name = forms.CharField(max_length=80, label="what it is for", help_text="As “balance notebook”.")
    expires_at = forms.DateTimeField(
        required=False,
        label="useless after",
        widget=forms.DateTimeInput(attrs={"type": "datetime-local"}),
        input_formats=["%Y-%m-%dT%H:%M", "%Y-%m-%d %H:%M"],
    )

    def __init__(self, *args: Any, choose: bool, **kwargs: Any) -> None:
        """Ask for the account only where there is a choice."""
        super().__init__(*args, **kwargs)
        if choose:
            self.fields["user"] = forms.ModelChoiceField(
                queryset=User.objects.filter(is_active=True), required=False,
                label="speaks for", empty_label="myself",
            )  # fmt: skip

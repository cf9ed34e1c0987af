"""A signature after the closing: with the full password, as the closing itself."""

from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from teardown.accounts.models import User


class SignLaterForm(forms.Form):
    """The password of who signs."""

    password = forms.CharField(
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
        label="Your password",
        help_text="The signature shows your name, the time and its meaning. A PIN does not sign.",
    )

    def __init__(self, *args: Any, user: User, **kwargs: Any) -> None:
        """Keep who signs."""
        self.user = user
        super().__init__(*args, **kwargs)
        self.auto_id = "later-%s"

    def clean_password(self) -> str:
        """Hold the password against the person's own."""
        if not self.user.check_password(self.cleaned_data["password"]):
            raise ValidationError("This is not your password. A PIN does not sign.")
        return ""

"""What is typed about people."""

from django import forms
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError

from teardown.accounts.models import User
from teardown.accounts.roles import Role


class WelcomeForm(forms.Form):
    """A new person, with a first password and roles."""

    username = forms.CharField(max_length=60, label="signs in as")
    name = forms.CharField(max_length=120, label="name as shown")
    password = forms.CharField(
        widget=forms.PasswordInput, label="first password", help_text="At least 12 characters."
    )
    roles = forms.MultipleChoiceField(choices=Role.choices, widget=forms.CheckboxSelectMultiple)

    def clean_username(self) -> str:
        """Refuse a name that is taken."""
        username: str = self.cleaned_data["username"]
        if User.objects.filter(username=username).exists():
            raise ValidationError("Someone already signs in with this name.")
        return username

    def clean_password(self) -> str:
        """Hold the password to the rules."""
        password: str = self.cleaned_data["password"]
        validate_password(password)
        return password


class RolesForm(forms.Form):
    """The roles of a person, and why they change."""

    roles = forms.MultipleChoiceField(
        choices=Role.choices, widget=forms.CheckboxSelectMultiple, required=False
    )
    reason = forms.CharField(max_length=200)


class PinForm(forms.Form):
    """The number by which a person is known at a shared tablet."""

    pin = forms.CharField(
        label="PIN",
        min_length=4,
        max_length=8,
        widget=forms.PasswordInput,
        help_text="4 to 8 digits, for shared tablets.",
    )

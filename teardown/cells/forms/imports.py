"""Imports: a table sent, applied, withdrawn."""

from django import forms

from teardown.cells.intake import KINDS


class SendForm(forms.Form):
    """A table to be looked at."""

    table = forms.FileField(
        label="CSV file or XLSX workbook", help_text="It is kept as it comes, and nothing is written yet."
    )
    kind = forms.ChoiceField(
        choices=[("", "what its heads say"), *((key, kind.words) for key, kind in KINDS.items())],
        required=False,
        label="it holds",
    )


class ApplyForm(forms.Form):
    """The word that refused rows stay out; asked only where there are some."""

    leave_out_refused = forms.BooleanField(label="Leave the refused rows out and write the others")


class WithdrawForm(forms.Form):
    """Why an import is withdrawn."""

    reason = forms.CharField(max_length=400, label="why it is withdrawn")

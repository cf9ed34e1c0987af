"""A cell named anew."""

from django import forms


class CodeForm(forms.Form):
    """The right code, and why the old one was wrong."""

    code = forms.CharField(max_length=40, label="Right code")
    swap = forms.BooleanField(
        required=False,
        label="The labels of two cells were exchanged",
        help_text="Then the cell that bears this code gets the code of this one.",
    )
    reason = forms.CharField(max_length=400, label="Why it is named anew")
    seen = forms.IntegerField(widget=forms.HiddenInput)

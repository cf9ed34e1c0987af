"""What is typed in the review."""

from django import forms

from teardown.review.models import KeptView


class KeepForm(forms.ModelForm[KeptView]):
    """A name for a view, so that the team finds it again."""

    class Meta:
        model = KeptView
        fields = ["name", "note"]
        labels = {"name": "name of the view", "note": "why it is kept"}
        widgets = {"note": forms.Textarea(attrs={"rows": 2})}

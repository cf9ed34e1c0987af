"""What is typed in the review."""

from django import forms

from teardown.page.fields import NumberField
from teardown.review.models import KeptView


class KeepForm(forms.ModelForm[KeptView]):
    """A name for a view, so that the team finds it again."""

    class Meta:
        model = KeptView
        fields = ["name", "note"]
        labels = {"name": "name of the view", "note": "why it is kept"}
        widgets = {"note": forms.Textarea(attrs={"rows": 2})}


class MarkForm(forms.Form):
    """A box on an image in percent of its width and height, and what is seen there."""

    words = forms.CharField(max_length=200, label="what is seen there")
    left = NumberField(unit="%", low=0, high=100)
    top = NumberField(unit="%", low=0, high=100)
    right = NumberField(unit="%", low=0, high=100)
    bottom = NumberField(unit="%", low=0, high=100)

    @property
    def box(self) -> list[float]:
        """Give the box as fractions."""
        return [float(self.cleaned_data[name]) / 100 for name in ("left", "top", "right", "bottom")]


class AwayForm(forms.Form):
    """Why a mark is taken away."""

    reason = forms.CharField(max_length=200, label="why")

"""What is tapped on a photograph or typed of a spoken note. Points can be typed too, in percent."""

from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from teardown.dissection.models import Photograph, Sample
from teardown.page.numbers import UnreadableNumber, read_number

IN_PERCENT = "In percent of the picture, from its left and its top, as 20.5 31; 80 30.5. Tapping fills it in."


class PointsField(forms.CharField):
    """Points on a picture: pairs in percent, parted by semicolons; cleaned to fractions."""

    def clean(self, value: Any) -> list[tuple[float, float]]:
        """Read the pairs.

        Raises
        ------
        ValidationError
            With the pair that is none.
        """
        text = super().clean(value)
        points = [self._point(pair) for pair in text.split(";") if pair.strip()]
        if self.required and not points:
            raise ValidationError("No point was tapped.")
        return points

    def _point(self, pair: str) -> tuple[float, float]:
        parts = pair.split()
        try:
            if len(parts) != 2:
                raise UnreadableNumber(pair)
            across, down = (float(read_number(part)) / 100 for part in parts)
        except UnreadableNumber as error:
            raise ValidationError(f"“{pair.strip()}” is no point: write two numbers, as 20.5 31.") from error
        if not (0 <= across <= 1 and 0 <= down <= 1):
            raise ValidationError(f"“{pair.strip()}” lies off the picture: percent are 0 to 100.")
        return across, down


class CornersForm(forms.Form):
    """The four corners of an electrode on a photograph."""

    face = forms.ChoiceField(
        choices=[("A", "face A, toward the air electrode"), ("B", "face B")], label="Face"
    )
    part = forms.ChoiceField(label="Part")
    corners = PointsField(
        label="Corners: top left, top right, bottom right, bottom left as it lies", help_text=IN_PERCENT
    )

    def __init__(self, *args: Any, parts: list[tuple[str, int, str]], **kwargs: Any) -> None:
        """Offer the parts of the cell."""
        super().__init__(*args, **kwargs)
        choices = [(f"{key} {number}", words) for key, number, words in parts]
        self.fields["part"].choices = choices  # type: ignore[attr-defined]


class PlaceForm(forms.Form):
    """One point of a photograph."""

    point = PointsField(
        label="Point", help_text="In percent of the picture, as 42.5 61. Tapping fills it in."
    )

    def clean_point(self) -> tuple[float, float]:
        """Take one point."""
        points = self.cleaned_data["point"]
        if len(points) != 1:
            raise ValidationError(f"One point is a place; these are {len(points)}.")
        return tuple(points[0])


class OutlineForm(forms.Form):
    """The outline of a piece on a photograph."""

    sample = forms.ModelChoiceField(Sample.objects.none(), to_field_name="code", label="Of sample")
    points = PointsField(label="Corners of the outline, in their order", help_text=IN_PERCENT)

    def __init__(self, *args: Any, photograph: Photograph, **kwargs: Any) -> None:
        """Offer the samples of the cell that is shown."""
        super().__init__(*args, **kwargs)
        if photograph.dissection:
            of_cell = Sample.objects.of(photograph.dissection)
            self.fields["sample"].queryset = of_cell  # type: ignore[attr-defined]


class PieceOutlineForm(forms.Form):
    """The outline of a piece that is being cut and named, on a photograph if one was chosen."""

    photograph = forms.UUIDField(required=False, widget=forms.HiddenInput)
    points = PointsField(required=False, label="Its outline on the photograph", help_text=IN_PERCENT)


class GistForm(forms.Form):
    """One line of what a spoken note says."""

    gist = forms.CharField(max_length=160, label="What it says, in one line")

"""What may be typed about micrographs."""

import json
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from teardown.dissection.forms import SampleField
from teardown.imaging.models import ImagingSession, Micrograph, Region, Review, ScaleClaim
from teardown.page.fields import NumberField


class SeveralFiles(forms.ClearableFileInput):
    """A file box that takes many."""

    allow_multiple_selected = True


class FilesField(forms.FileField):
    """Many files at once; an empty one among them is refused later, by its name, and hinders no other."""

    widget = SeveralFiles

    def __init__(self, **options: Any) -> None:
        """Let empty files through to where each is looked at."""
        super().__init__(allow_empty_file=True, **options)

    def clean(self, data: Any, initial: Any = None) -> Any:
        """Check each."""
        one_by_one = data if isinstance(data, (list, tuple)) else [data]
        return [super(FilesField, self).clean(one, initial) for one in one_by_one]


class AddForm(forms.Form):
    """Bring pictures: many at once, a folder, or a zip of them."""

    use_required_attribute = False  # pictures may come by either of two boxes

    pictures = FilesField(
        label="Pictures",
        widget=SeveralFiles(attrs={"accept": ".tif,.tiff,.png,.jpg,.jpeg,.zip,.txt"}),
        help_text="TIFF, PNG or JPEG as the microscope saved them; text files beside them; or one zip. "
        "Kept bit for bit.",
    )
    sample = SampleField(
        label="Sample",
        required=False,
        help_text="Empty: the sample's code is looked for in each file's name, and you see the plan first.",
    )
    session = forms.CharField(
        label="Microscope session",
        required=False,
        max_length=80,
        help_text="A name for this sitting at the microscope; its grey levels can be pinned once for all.",
    )
    kind = forms.ChoiceField(
        label="What they show",
        choices=Micrograph.Kind.choices,
        required=False,
        help_text="Cross sections are measured; surfaces and overviews are kept to be looked at.",
    )
    pixel_size_um = NumberField(
        label="Side of a pixel",
        unit="µm",
        above=0,
        high=100,
        required=False,
        help_text="Only where the files do not say it.",
    )
    # set by the page where many files are sent in parts that make one plan
    part = forms.BooleanField(required=False, widget=forms.HiddenInput)
    onto = forms.IntegerField(required=False, min_value=1, max_value=2**53, widget=forms.HiddenInput)

    def clean_kind(self) -> str:
        """Take cross sections where nothing is said."""
        return str(self.cleaned_data["kind"] or Micrograph.Kind.SECTION)

    def clean_session(self) -> ImagingSession | None:
        """Find or begin the session by its name."""
        name = self.cleaned_data["session"].strip()
        return ImagingSession.objects.filter(name=name).first() or (
            ImagingSession(name=name) if name else None
        )


class ScaleForm(forms.Form):
    """The size of a pixel: typed, or from a bar of known length."""

    pixel_size_um = NumberField(label="Side of a pixel", unit="µm", above=0, high=100, required=False)
    bar_um = NumberField(
        label="Length of the scale bar",
        unit="µm",
        above=0,
        high=100_000,
        required=False,
        widget=forms.HiddenInput,
    )
    bar_px = NumberField(
        label="Length of the bar in the picture", unit="px", above=5, required=False, widget=forms.HiddenInput
    )
    claim = forms.IntegerField(min_value=1, max_value=2**31 - 1, required=False, widget=forms.HiddenInput)

    def clean(self) -> dict[str, Any]:
        """Work the pixel size out of whichever was given."""
        given = self.cleaned_data
        bar_um, bar_px = given.get("bar_um"), given.get("bar_px")
        if given.get("claim"):
            return given
        if given.get("pixel_size_um"):
            given["size"], given["source"] = float(given["pixel_size_um"]), ScaleClaim.Source.TYPED
        elif bar_um and bar_px:
            given["size"], given["source"] = float(bar_um) / float(bar_px), ScaleClaim.Source.SCALE_BAR
        elif not self.errors:
            raise ValidationError("Give the side of a pixel, or a bar's length and its length in pixels.")
        return given


class RegionForm(forms.Form):
    """Corners drawn on the picture."""

    kind = forms.ChoiceField(choices=Region.Kind.choices)
    name = forms.CharField(required=False, max_length=40)
    points = forms.CharField(widget=forms.HiddenInput, required=False)
    later = forms.BooleanField(required=False)
    fresh = forms.BooleanField(required=False)

    def clean_points(self) -> list[list[float]]:
        """Read the corners: a list of pairs of numbers.

        Raises
        ------
        ValidationError
            If it is anything else.
        """
        try:
            points = json.loads(self.cleaned_data["points"] or "[]")
            return [[float(x), float(y)] for x, y in points]
        except (ValueError, TypeError) as error:
            raise ValidationError("The corners could not be read. Draw them again.") from error


class ReviewForm(forms.Form):
    """Accept or reject, with a reason."""

    verdict = forms.ChoiceField(choices=Review.Verdict.choices)
    reason = forms.CharField(label="Reason", required=False, max_length=400)


class CountForm(forms.Form):
    """The answers of a count, as the page gathered them."""

    seed = forms.IntegerField(min_value=0, widget=forms.HiddenInput)
    run = forms.IntegerField(min_value=1, required=False, widget=forms.HiddenInput)
    lines = forms.CharField(required=False, max_length=20, widget=forms.HiddenInput)
    answers = forms.CharField(widget=forms.HiddenInput)

    def clean_answers(self) -> list[list[Any]]:
        """Read rows of x, y and an answer.

        Raises
        ------
        ValidationError
            If they are anything else.
        """
        try:
            return [
                [float(x), float(y), str(answer)] for x, y, answer in json.loads(self.cleaned_data["answers"])
            ]
        except (ValueError, TypeError) as error:
            raise ValidationError("The answers could not be read. Nothing was kept.") from error


class LevelsForm(forms.Form):
    """Greys of resin, oxide and metal that hold for a session, 0 black to 1 white."""

    pore = NumberField(label="Resin (pore)", low=0, high=1)
    oxide = NumberField(label="Oxide", low=0, high=1)
    metal = NumberField(label="Metal", low=0, high=1)
    edge_sigma_px = NumberField(label="Blur of edges", unit="px", above=0, high=20, required=False)
    evidence = forms.CharField(required=False, widget=forms.HiddenInput, max_length=2000)

    def clean_evidence(self) -> dict[str, Any]:
        """Read where the greys were clicked, if they were.

        Raises
        ------
        ValidationError
            If it is anything else.
        """
        try:
            found = json.loads(self.cleaned_data["evidence"] or "{}")
            places = {
                str(name): [float(x), float(y), float(grey)]
                for name, (x, y, grey) in found.get("places", {}).items()
            }
            return {"micrograph": int(found["micrograph"]), "places": places} if places else {}
        except (ValueError, TypeError, KeyError, AttributeError) as error:
            raise ValidationError("The clicked places could not be read. Click them again.") from error


class PlaceForm(forms.Form):
    """A place on a picture, in pixels."""

    x = forms.FloatField(min_value=0)
    y = forms.FloatField(min_value=0)


class SessionForm(forms.Form):
    """The session of pictures, and why where it changes; ``none`` takes them out of theirs."""

    session = forms.CharField(label="Microscope session", max_length=80, required=False)
    reason = forms.CharField(label="Reason", required=False, max_length=200)
    none = forms.BooleanField(required=False)

    def clean(self) -> dict[str, Any]:
        """Ask for a name, unless they are to be of no session."""
        given = self.cleaned_data
        if given.get("none"):
            given["session"] = ""
        elif not given.get("session") and not self.errors:
            raise ValidationError("Give the name of the session.")
        return given


class TieForm(forms.Form):
    """What a micrograph is of."""

    sample = SampleField(label="Sample")
    reason = forms.CharField(label="Reason, if it changes", required=False, max_length=200)


class CropForm(forms.Form):
    """Which crop is looked at, and with which thresholds."""

    x = forms.FloatField()
    y = forms.FloatField()
    lower = forms.FloatField()
    upper = forms.FloatField()
    hatched = forms.BooleanField(required=False)


class ByHandForm(forms.Form):
    """Thresholds set by hand, and why."""

    lower = forms.FloatField(widget=forms.HiddenInput)
    upper = forms.FloatField(widget=forms.HiddenInput)
    reason = forms.CharField(label="Reason", max_length=200)


class AgainForm(forms.Form):
    """Measure fields again beside what stands, and why."""

    which = forms.ChoiceField(
        label="Which",
        choices=[("earlier", "those measured by an earlier version"), ("all", "all of them")],
        widget=forms.RadioSelect,
    )
    reason = forms.CharField(
        label="Reason",
        max_length=200,
        help_text="For example: the method changed its version, or levels were pinned since.",
    )


class StrokesForm(forms.Form):
    """Strokes as the page gathered them."""

    strokes = forms.CharField(widget=forms.HiddenInput, max_length=4_000_000)

    def clean_strokes(self) -> list[Any]:
        """Read the list of strokes.

        Raises
        ------
        ValidationError
            If it is anything else.
        """
        try:
            found = json.loads(self.cleaned_data["strokes"])
        except ValueError as error:
            raise ValidationError("The strokes could not be read. Nothing was kept.") from error
        if not isinstance(found, list) or not all(isinstance(one, dict) for one in found):
            raise ValidationError("The strokes could not be read. Nothing was kept.")
        return found


class ByStrokesForm(forms.Form):
    """Measure with what was learned, and why."""

    classifier = forms.IntegerField(min_value=1, widget=forms.HiddenInput)
    whole_session = forms.BooleanField(required=False)
    reason = forms.CharField(label="Why grey levels do not separate the classes", max_length=200)

"""What may be typed about patterns, fits, and fractions from elsewhere."""

from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from teardown.diffraction.models import Diffractometer, Pattern, Radiation, Review, Slits
from teardown.dissection.forms import SampleField
from teardown.page.fields import NumberField
from teardown.science.crystallography.fractions import GROUPS
from teardown.science.crystallography.phases import phase_table


def _standards() -> list[tuple[str, str]]:
    """List the phases that serve as internal standards."""
    table = phase_table().phases
    return [("", "none")] + [(k, p.name) for k, p in table.items() if p.group == "standard"]


def phase_choices() -> list[tuple[str, list[tuple[str, str]]]]:
    """List the phase table by group, for boxes to tick."""
    table = phase_table().phases
    return [
        (words, [(k, p.name) for k, p in table.items() if p.group == group])
        for group, words in GROUPS.items()
    ]


class _Grains(forms.Form):
    """The grain diameter, as a range."""

    grain_low_um = NumberField(label="Grains, at least", unit="µm", above=0, high=1000, required=False)
    grain_high_um = NumberField(
        label="Grains, at most",
        unit="µm",
        above=0,
        high=1000,
        required=False,
        help_text="From a micrograph, if there is one. Metal hides beside its oxides the more, the coarser.",
    )

    def clean(self) -> dict[str, Any]:
        """Demand both ends in order, or neither."""
        given = self.cleaned_data
        low, high = given.get("grain_low_um"), given.get("grain_high_um")
        if (low is None) != (high is None) and not self.errors:
            raise ValidationError("Give both ends of the grain size, or neither.")
        given["grain_um"] = None if low is None or high is None else (float(low), float(high))
        if given["grain_um"] and given["grain_um"][0] > given["grain_um"][1]:
            raise ValidationError("The grain size rises: the smaller end comes first.")
        return given


class AddForm(_Grains):
    """Bring a pattern."""

    file = forms.FileField(
        label="Pattern",
        widget=forms.ClearableFileInput(attrs={"accept": ".xy,.xye,.csv,.tsv,.txt,.dat,.prn,.cif,.asc"}),
        help_text="Two columns of text (2θ in degrees, counts), with or without a third of uncertainties; "
        "or a powder CIF. Other formats: export as xy. Kept bit for bit.",
    )
    sample = SampleField(label="Sample", required=False)
    diffractometer = forms.ModelChoiceField(
        Diffractometer.objects.all(),
        label="Instrument",
        required=False,
        empty_label="not said",
        help_text="What it is set to fills what is left empty below; its calibration gives sizes.",
    )
    radiation = forms.ChoiceField(
        label="Tube",
        choices=[("", "as the instrument or file says, else Cu Kα"), *Radiation.choices],
        required=False,
    )
    preparation = forms.ChoiceField(
        label="What the beam saw",
        choices=[("", "not said"), *Pattern._meta.get_field("preparation").choices],  # type: ignore[misc]
        required=False,
        help_text="A flat surface shows the outermost micrometres only.",
    )
    standard = forms.ChoiceField(label="Internal standard", choices=_standards, required=False)
    standard_percent = NumberField(label="Its weighed share", unit="%", above=0, high=99, required=False)
    monochromator_2theta_deg = NumberField(
        label="Monochromator behind the specimen",
        unit="° 2θ",
        above=0,
        high=120,
        required=False,
        help_text="26.6 for graphite with Cu; empty for none.",
    )
    slits = forms.ChoiceField(
        label="Divergence slit",
        choices=[("", "as the instrument, else fixed"), *Slits.choices],
        required=False,
    )
    measured_on = forms.DateField(
        label="Measured on", required=False, widget=forms.DateInput(attrs={"type": "date"})
    )
    note = forms.CharField(label="Note", required=False, widget=forms.Textarea(attrs={"rows": 2}))
    field_order = (
        "file", "sample", "diffractometer", "radiation", "preparation", "grain_low_um", "grain_high_um",
        "standard", "standard_percent", "monochromator_2theta_deg", "slits", "measured_on", "note",
    )  # fmt: skip

    def clean(self) -> dict[str, Any]:
        """Demand a share with a standard, and a standard with a share."""
        given = super().clean()
        share = given.get("standard_percent")
        if bool(given.get("standard")) != (share is not None) and not self.errors:
            raise ValidationError("An internal standard comes with its weighed share, and the share with it.")
        given["standard_fraction"] = None if share is None else float(share) / 100
        return given


class DiffractometerForm(forms.Form):
    """Make an instrument known."""

    name = forms.CharField(label="Name", max_length=60)
    radiation = forms.ChoiceField(label="Tube", choices=Radiation.choices)
    slits = forms.ChoiceField(label="Divergence slit", choices=Slits.choices)
    monochromator_2theta_deg = NumberField(
        label="Monochromator behind the specimen", unit="° 2θ", above=0, high=120, required=False,
        help_text="26.6 for graphite with Cu; empty for none.",
    )  # fmt: skip
    alpha_1_only = forms.BooleanField(label="The tube's second Kα line is filtered out", required=False)
    calibration_days = forms.IntegerField(
        label="Calibration is trusted for, days", min_value=1, max_value=3650, initial=365
    )
    note = forms.CharField(label="Note", required=False, widget=forms.Textarea(attrs={"rows": 2}))

    def clean_monochromator_2theta_deg(self) -> float | None:
        """Give a plain number."""
        value = self.cleaned_data["monochromator_2theta_deg"]
        return None if value is None else float(value)


class DiffractometerChangeForm(forms.Form):
    """Note that an instrument was changed: from that day on its calibration counts no more."""

    changed_on = forms.DateField(label="changed on", widget=forms.DateInput(attrs={"type": "date"}))
    reason = forms.CharField(label="what was changed", max_length=200)


class CalibrateForm(forms.Form):
    """Name the standard that a pattern is of."""

    phase = forms.ChoiceField(label="The pattern is of", choices=lambda: _standards()[1:])


class FitForm(_Grains):
    """Fit again, with other phases or another range."""

    phases = forms.MultipleChoiceField(
        label="Phases",
        choices=phase_choices,
        widget=forms.CheckboxSelectMultiple,
        error_messages={"required": "Tick at least one phase."},
        help_text="At most ten. What is offered and not there gets a limit.",
    )
    range_low_deg = NumberField(label="From", unit="° 2θ", above=0, high=179, required=False)
    range_high_deg = NumberField(label="To", unit="° 2θ", above=0, high=179, required=False)
    hump_centre_deg = NumberField(
        label="Broad hump at", unit="° 2θ", above=0, high=179, required=False,
        help_text="Where glass, gel or binder makes the background swell.",
    )  # fmt: skip
    hump_width_deg = NumberField(label="its width", unit="° 2θ", above=1, high=40, required=False)
    reason = forms.CharField(label="Why again", required=False, max_length=200)
    field_order = (
        "phases", "range_low_deg", "range_high_deg", "grain_low_um", "grain_high_um", "hump_centre_deg",
        "hump_width_deg", "reason",
    )  # fmt: skip

    def clean(self) -> dict[str, Any]:
        """Make pairs of what belongs together."""
        given = super().clean()
        given["range_deg"] = self._pair("range_low_deg", "range_high_deg", "range")
        given["hump_deg"] = self._pair("hump_centre_deg", "hump_width_deg", "hump")
        return given

    def _pair(self, first: str, second: str, words: str) -> tuple[float, float] | None:
        """Give two numbers, or nothing if both are empty."""
        a, b = self.cleaned_data.get(first), self.cleaned_data.get(second)
        if (a is None) != (b is None) and not self.errors:
            raise ValidationError(f"Give both numbers of the {words}, or neither.")
        return None if a is None or b is None else (float(a), float(b))


class FractionsForm(forms.Form):
    """Phase fractions from elsewhere: typed or pasted, or a file."""

    sample = SampleField(label="Sample", required=False)
    text = forms.CharField(
        label="Fractions",
        required=False,
        widget=forms.Textarea(
            attrs={"rows": 8, "placeholder": "magnetite  23.4(5)\niron  61.2(8)\nFe(OH)2  15.4(12)\nRwp 8.1"}
        ),
        help_text="One phase a line: name, weight percent, standard uncertainty in brackets or a column of "
        "its own. A table from a spreadsheet may be pasted. Below a limit: < 0.7.",
    )
    file = forms.FileField(
        label="or a file", required=False, help_text="CSV, text, or a powder CIF; kept as it came."
    )
    unit = forms.ChoiceField(
        label="The numbers are",
        choices=[
            ("", "percent or fractions, by their sum"),
            ("percent", "percent"),
            ("fraction", "fractions"),
        ],
        required=False,
    )
    source = forms.CharField(label="Who or what refined it", required=False, max_length=120)

    def clean(self) -> dict[str, Any]:
        """Take exactly one of text and file."""
        given = self.cleaned_data
        if bool((given.get("text") or "").strip()) == bool(given.get("file")) and not self.errors:
            raise ValidationError("Give the fractions as text or as a file: one of the two.")
        given["result"] = given.get("file") or given.get("text")
        return given


class ReviewForm(forms.Form):
    """Accept or reject, with a reason."""

    verdict = forms.ChoiceField(choices=Review.Verdict.choices)
    reason = forms.CharField(label="Comment", required=False, max_length=400)


class ViewForm(forms.Form):
    """Which stretch of a pattern is looked at; stands in the address."""

    low = NumberField(label="from", unit="°", low=0, high=180, required=False)
    high = NumberField(label="to", unit="°", low=0, high=180, required=False)
    scale = forms.ChoiceField(
        label="counts",
        choices=[("sqrt", "root"), ("linear", "plain"), ("log", "logarithm")],
        required=False,
        initial="sqrt",
    )

"""What may be typed at the desk: signature, amendments, samples, labels, cautions."""

from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from teardown.accounts.models import User
from teardown.dissection.dossier.labels import SIZES
from teardown.dissection.models import CautionCard
from teardown.dissection.rules.codes import NotACode, read_code
from teardown.dissection.rules.places import NotAPlace, read_place
from teardown.page.fields import NumberField
from teardown.vocabulary.models import Term


class CloseForm(forms.Form):
    """The signature: a full password, and what is said to what was asked."""

    answer = forms.CharField(
        required=False,
        label="What is known of what is asked",
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text="Asked points stop nothing; they want a few words.",
    )
    password = forms.CharField(
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
        label="Your password",
        help_text="The signature shows your name, the time and its meaning: closed as complete.",
    )

    def __init__(self, *args: Any, user: User, **kwargs: Any) -> None:
        """Keep who signs."""
        self.user = user
        super().__init__(*args, **kwargs)

    def clean_password(self) -> str:
        """Hold the password against the person's own."""
        if not self.user.check_password(self.cleaned_data["password"]):
            raise ValidationError("This is not your password. A PIN does not sign.")
        return ""


class AmendForm(forms.Form):
    """What is different in an entry, and why."""

    said = forms.ChoiceField(required=False, label="What it is")
    value = forms.CharField(
        required=False, label="Number or words", help_text="Point or comma, in the unit of the field."
    )
    twice = forms.BooleanField(required=False, label="I read it twice, and so it is")
    reason = forms.ChoiceField(label="Reason")
    reason_text = forms.CharField(required=False, label="In words", max_length=500)

    def __init__(self, *args: Any, choices: list[tuple[str, str]], kind: str, **kwargs: Any) -> None:
        """Offer the answers of the field."""
        super().__init__(*args, **kwargs)
        words = Term.objects.of("reason").values_list("key", "words")
        self.fields["reason"].choices = [("", "choose"), *words]  # type: ignore[attr-defined]
        if choices:
            self.fields["said"].choices = [("", "as it was"), *choices]  # type: ignore[attr-defined]
        else:
            del self.fields["said"]
        if kind != "number":
            del self.fields["twice"]
        if kind not in {"number", "text"}:
            self.fields["value"].label = "Beside it, in words"


class WithdrawForm(forms.Form):
    """Why an entry is taken back, and to which cell it belongs, if to another."""

    reason = forms.ChoiceField(label="Reason")
    reason_text = forms.CharField(required=False, label="In words", max_length=500)
    to = forms.CharField(
        required=False, label="It belongs to cell", help_text="Then it is copied there with its own time."
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        """Offer the reasons."""
        super().__init__(*args, **kwargs)
        words = Term.objects.of("reason").values_list("key", "words")
        self.fields["reason"].choices = [("", "choose"), *words]  # type: ignore[attr-defined]


class CutForm(forms.Form):
    """A piece as it is cut and named."""

    component = forms.ChoiceField(required=False, label="Cut from")
    parent = forms.CharField(required=False, label="or taken from sample", help_text="Its code.")
    place = forms.CharField(
        required=False, label="Place", help_text="Face, height, width, as A.M2; or a zone, as liquid line."
    )
    code = forms.CharField(required=False, label="Code on the label", help_text="Empty: a new one is made.")
    purpose = forms.CharField(required=False, max_length=80, label="Purpose")
    mass_mg = NumberField(required=False, unit="mg", above=0, label="Mass")
    size_mm = forms.CharField(required=False, max_length=40, label="Size", help_text="In mm, as 8 × 5.")
    face_up = forms.ChoiceField(
        required=False,
        choices=[("", "not noted"), ("A", "face A"), ("B", "face B")],
        label="Face up in its box",
    )
    rinsed = forms.NullBooleanField(
        required=False,
        label="Rinsed",
        widget=forms.Select(choices=[("", "not noted"), ("true", "yes"), ("false", "no, kept unrinsed")]),
    )
    atmosphere = forms.CharField(required=False, max_length=40, label="Atmosphere")
    container = forms.CharField(required=False, max_length=40, label="Container")
    to_place = forms.CharField(required=False, max_length=80, label="Where it lies now")

    def __init__(self, *args: Any, parts: list[tuple[str, int, str]], **kwargs: Any) -> None:
        """Offer the parts of the cell."""
        super().__init__(*args, **kwargs)
        choices = [("", "choose")] + [(f"{key} {number}", words) for key, number, words in parts]
        self.fields["component"].choices = choices  # type: ignore[attr-defined]

    def clean_parent(self) -> str:
        """Read the code of a sample."""
        return _read(self.cleaned_data["parent"])

    def clean_code(self) -> str:
        """Read the code on a label."""
        return _read(self.cleaned_data["code"])

    def clean_place(self) -> str:
        """Read an address."""
        try:
            return read_place(self.cleaned_data["place"]).address
        except NotAPlace as error:
            raise ValidationError(str(error)) from error

    def clean(self) -> dict[str, Any]:
        """Ask for one origin."""
        found = super().clean() or {}
        if bool(found.get("component")) == bool(found.get("parent")) and not self.errors:
            raise ValidationError("Say what it was cut from: one part of the cell, or one sample.")
        return found


def _read(text: str) -> str:
    try:
        return read_code(text) if text.strip() else ""
    except NotACode as error:
        raise ValidationError(str(error)) from error


class HandOverForm(forms.Form):
    """Where a sample goes."""

    to_place = forms.CharField(required=False, max_length=80, label="To a place")
    to_person = forms.ModelChoiceField(
        User.objects.filter(is_active=True), required=False, label="or to a person", empty_label="nobody"
    )
    disposal = forms.BooleanField(required=False, label="It is disposed of")
    note = forms.CharField(required=False, max_length=200, label="In words")


class OrderForm(forms.Form):
    """To which technique a sample is sent."""

    technique = forms.ChoiceField(label="Technique")
    due_on = forms.DateField(
        required=False, label="Due on", widget=forms.DateInput(attrs={"type": "date"}),
        help_text="Empty: after the usual days of the technique.",
    )  # fmt: skip
    note = forms.CharField(required=False, max_length=200, label="In words")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        """Offer the techniques."""
        super().__init__(*args, **kwargs)
        words = Term.objects.of("technique").values_list("key", "words")
        self.fields["technique"].choices = [("", "choose"), *words]  # type: ignore[attr-defined]


class BackForm(forms.Form):
    """What came back."""

    state = forms.ChoiceField(
        label="It is",
        choices=[
            ("back", "back"),
            ("nothing usable", "measured, nothing usable"),
            ("called off", "called off"),
        ],
    )
    note = forms.CharField(required=False, max_length=200, label="In words")


class MountForm(forms.Form):
    """A sample put into resin."""

    code = forms.CharField(
        required=False, max_length=20, label="Engraved code", help_text="Empty: the next number."
    )
    orientation = forms.CharField(
        max_length=80, label="How it lies", help_text="Section plane, and which edge is the air face."
    )
    resin = forms.CharField(required=False, max_length=80, label="Resin")
    vacuum_mbar = NumberField(required=False, unit="mbar", above=0, high=1013, label="Vacuum")
    cure_h = NumberField(required=False, unit="h", above=0, label="Cure")


class PolishForm(forms.Form):
    """A new plane of a mount."""

    abrasive = forms.CharField(max_length=60, label="Last abrasive")
    size_um = NumberField(required=False, unit="µm", above=0, label="Its size")
    lubricant = forms.CharField(
        max_length=60, label="Lubricant", help_text="Water marks the section: wet iron rusts in minutes."
    )
    depth_removed_um = NumberField(required=False, unit="µm", low=0, label="Depth removed")
    artefacts = forms.MultipleChoiceField(
        required=False, label="Artefacts seen", widget=forms.CheckboxSelectMultiple,
        help_text="Some leave its images out of oxide coverage by default.",
    )  # fmt: skip

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        """Offer the artefacts."""
        super().__init__(*args, **kwargs)
        words = Term.objects.of("artefact").values_list("key", "words")
        self.fields["artefacts"].choices = list(words)  # type: ignore[attr-defined]


class LabelPhotoForm(forms.Form):
    """What a photograph shows."""

    part = forms.ChoiceField(required=False, label="Part")
    place = forms.CharField(required=False, max_length=40, label="Place")
    frame = forms.CharField(required=False, max_length=80, label="What is in the picture")
    caption = forms.CharField(required=False, max_length=200, label="Caption")
    not_evidence = forms.CharField(
        required=False,
        max_length=120,
        label="No evidence, because",
        help_text="It is kept, and hidden by default.",
    )

    def __init__(self, *args: Any, parts: list[tuple[str, int, str]], **kwargs: Any) -> None:
        """Offer the parts of the cell."""
        super().__init__(*args, **kwargs)
        choices = [("", "choose")] + [(f"{key} {number}", words) for key, number, words in parts]
        self.fields["part"].choices = choices  # type: ignore[attr-defined]


class LabelsForm(forms.Form):
    """Which labels are printed, and on what."""

    codes = forms.CharField(
        required=False, widget=forms.Textarea(attrs={"rows": 4}), label="Codes of samples",
        help_text="One a line. Empty: new codes for pieces to come.",
    )  # fmt: skip
    fresh = NumberField(required=False, whole=True, low=0, high=200, label="New codes")
    cell = forms.CharField(required=False, label="for the cell", help_text="Printed beneath new codes.")
    size = forms.ChoiceField(choices=[(key, size.words) for key, size in SIZES.items()], label="Label")


class CautionForm(forms.ModelForm):  # type: ignore[type-arg]
    """A card as the laboratory wants it."""

    class Meta:
        model = CautionCard
        fields = ("title", "facts", "cautions", "source", "owner", "review_by", "lab_text", "retired")
        labels = {
            "lab_text": "The laboratory's own instruction and contact",
            "review_by": "To be reviewed by",
            "retired": "Retired: no longer shown",
        }
        widgets = {"review_by": forms.DateInput(attrs={"type": "date"})}


class InstrumentForm(forms.Form):
    """An instrument: what it reads, and how well."""

    code = forms.CharField(max_length=40, label="Code")
    name = forms.CharField(max_length=80, label="Name")
    quantity = forms.ChoiceField(label="Reads")
    u = NumberField(
        required=False, above=0, label="Usual standard uncertainty", help_text="In the unit beside."
    )
    unit = forms.CharField(required=False, max_length=10, label="Unit")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        """Offer what the bench asks for."""
        super().__init__(*args, **kwargs)
        asked = Term.objects.of("field").values_list("data__quantity", flat=True)
        names = sorted({quantity for quantity in asked if quantity})
        self.fields["quantity"].choices = [("", "choose"), *((name, name) for name in names)]  # type: ignore[attr-defined]


class CheckForm(forms.Form):
    """A check of an instrument."""

    against = forms.CharField(max_length=120, label="Checked against")
    passed = forms.ChoiceField(
        choices=[("yes", "within its bounds"), ("no", "out of its bounds")], label="It was"
    )
    note = forms.CharField(required=False, max_length=200, label="In words")


class LateForm(forms.Form):
    """A late observation from a photograph: what is seen in a rectangle on it."""

    said = forms.ChoiceField(label="What is seen")
    left = NumberField(low=0, high=1, label="Rectangle: left")
    top = NumberField(low=0, high=1, label="top")
    right = NumberField(low=0, high=1, label="right")
    bottom = NumberField(low=0, high=1, label="bottom")

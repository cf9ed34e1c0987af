"""Chambers, channels, protocols, tests."""

from typing import Any

from django import forms

from teardown.cells.forms.fields import CellField, DayField, MomentField
from teardown.cells.models import Channel, Position, ProtocolRevision, Test
from teardown.page.fields import NumberField
from teardown.vocabulary.models import Term

TEMPERATURE: dict[str, Any] = {
    "unit": "°C",
    "low": -40,
    "high": 120,
    "required": False,
    "label": "held temperature",
}


class ChamberForm(forms.Form):
    """A new chamber."""

    name = forms.CharField(max_length=40, label="name")
    places = forms.CharField(
        required=False, help_text="Names of its places, parted by spaces.", label="places"
    )
    note = forms.CharField(max_length=400, required=False, label="note")


class ChannelForm(forms.Form):
    """A new channel of a cycler."""

    name = forms.CharField(max_length=40, label="name")


class AccuracyForm(forms.Form):
    """How far a channel may be off."""

    channel = forms.ModelChoiceField(
        queryset=Channel.objects.all(), label="channel", empty_label="choose a channel"
    )
    range_A = NumberField(unit="A", above=0, label="range")
    gain_pct = NumberField(unit="% of reading", low=0, label="gain")
    offset_pct = NumberField(unit="% of range", low=0, label="offset")
    valid_from = DayField(label="valid from")


class ProtocolContentForm(forms.Form):
    """What a protocol says."""

    words = forms.CharField(widget=forms.Textarea, required=False, label="in words")
    charge_current_A = NumberField(unit="A", above=0, required=False, label="charge current")
    discharge_current_A = NumberField(unit="A", above=0, required=False, label="discharge current")
    charge_limit_Ah = NumberField(unit="Ah", above=0, required=False, label="charge limit")
    discharge_limit_V = NumberField(unit="V", required=False, label="discharge limit")
    first_plateau_limit_V = NumberField(
        unit="V",
        required=False,
        label="end of the first plateau",
        help_text="Where the first discharge plateau counts as over.",
    )
    rest_h = NumberField(unit="h", low=0, required=False, label="rest")
    capacity_limit = NumberField(
        unit="%",
        above=0,
        high=100,
        required=False,
        label="capacity limit",
        help_text="The test ends below this share of the reference capacity.",
    )
    begins_with = forms.ChoiceField(
        choices=[("charge", "charge"), ("discharge", "discharge")], label="begins with"
    )

    def content(self) -> dict[str, Any]:
        """Give the columns of a protocol revision; the capacity limit as a fraction."""
        values = {name: self.cleaned_data[name] for name in ProtocolContentForm.base_fields}
        if values["capacity_limit"] is not None:
            values["capacity_limit"] = float(f"{float(values['capacity_limit']) / 100:.15g}")
        return values


class ProtocolForm(ProtocolContentForm):
    """A new protocol."""

    code = forms.CharField(max_length=40, label="code")
    title = forms.CharField(max_length=160, label="title")
    field_order = ["code", "title"]


class ReviseProtocolForm(ProtocolContentForm):
    """A new revision of a protocol."""

    because = forms.CharField(max_length=400, label="why it changes")


def _places() -> Any:
    return Position.objects.select_related("chamber").order_by("chamber__name", "name")


class StartForm(forms.Form):
    """A cell put on test."""

    cell = CellField(label="code of the cell")
    protocol = forms.ModelChoiceField(
        queryset=ProtocolRevision.objects.select_related("protocol").order_by("protocol__code", "-number"),
        label="protocol",
    )
    started_at = MomentField(label="started")
    position = forms.ModelChoiceField(
        queryset=Position.objects.none(), required=False, label="place", empty_label="not noted"
    )
    channel = forms.ModelChoiceField(queryset=Channel.objects.all(), required=False, empty_label="not noted")
    set_temperature_C = NumberField(**TEMPERATURE)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        """Offer the places."""
        super().__init__(*args, **kwargs)
        self.fields["position"].queryset = _places()  # type: ignore[attr-defined]


class MoveForm(forms.Form):
    """A test moved to another place, channel or temperature."""

    moved_at = MomentField(label="moved")
    position = forms.ModelChoiceField(
        queryset=Position.objects.none(), label="place", empty_label="choose a place"
    )
    channel = forms.ModelChoiceField(queryset=Channel.objects.all(), required=False, empty_label="not noted")
    set_temperature_C = NumberField(**TEMPERATURE)
    reason = forms.CharField(max_length=400, required=False, label="reason")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        """Offer the places."""
        super().__init__(*args, **kwargs)
        self.fields["position"].queryset = _places()  # type: ignore[attr-defined]


class EndForm(forms.Form):
    """The end of a test, with its reason."""

    ended_at = MomentField(label="ended")
    end = forms.ModelChoiceField(
        queryset=Term.objects.none(), label="because of", empty_label="choose the reason"
    )
    state_at_stop = forms.ChoiceField(
        choices=[("", "not noted"), *Test._meta.get_field("state_at_stop").choices],  # type: ignore[misc]
        required=False,
        label="state of charge at the stop",
    )
    note = forms.CharField(widget=forms.Textarea, required=False, label="note")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        """Offer the ends in use, each saying whether it censors."""
        super().__init__(*args, **kwargs)
        field = self.fields["end"]
        field.queryset = Term.objects.of(Term.Kind.END)  # type: ignore[attr-defined]
        field.label_from_instance = lambda term: (  # type: ignore[attr-defined]
            f"{term.words} (no failure: the test is censored)" if term.data.get("censors") else term.words
        )

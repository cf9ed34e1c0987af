"""Older records sent, explained, applied, withdrawn."""

from collections.abc import Mapping, Sequence
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.core.files.uploadedfile import UploadedFile

from teardown.cells.intake.columns import Unread, read_day
from teardown.dissection.intake.heads import ROLES, Meaning
from teardown.dissection.intake.heads import field as column_of
from teardown.dissection.intake.words import choices_of
from teardown.dissection.rules.cards import CARDS
from teardown.dissection.rules.places import NotAPlace, read_place
from teardown.dissection.rules.units import plain_unit
from teardown.vocabulary.models import Term


class DayField(forms.CharField):
    """A day as people write it; slashes are refused: they mean other days in other countries."""

    def clean(self, value: Any) -> str:
        """Give the day as ISO 8601 writes it."""
        text = super().clean(value)
        try:
            return read_day(text).isoformat() if text else ""
        except Unread as error:
            raise ValidationError(str(error)) from error


class ManyFiles(forms.ClearableFileInput):
    """Several files at once."""

    allow_multiple_selected = True


class ManyFilesField(forms.FileField):
    """One file or several; each is looked at where it is read."""

    widget = ManyFiles

    def clean(self, data: Any, initial: Any = None) -> list[UploadedFile[Any]]:
        """Give them as a list."""
        every = [one for one in (data if isinstance(data, list | tuple) else [data]) if one]
        clean = super().clean
        return (
            [clean(one, initial) for one in every]
            if every
            else ([clean(None, initial)] if self.required else [])
        )


class OlderTableForm(forms.Form):
    """A table of older dissections."""

    table = forms.FileField(
        label="CSV file or XLSX workbook",
        help_text="One row a cell, or one row an observation. Kept as it comes; nothing is written yet.",
    )
    day = DayField(
        required=False, label="Day of the record", help_text="For rows that name none, as 2029-03-04."
    )
    seen_by = forms.CharField(
        required=False,
        max_length=80,
        label="Seen by",
        help_text="For rows that name nobody, as the record has it.",
    )


class OlderPhotographsForm(forms.Form):
    """A folder of older photographs."""

    photographs = ManyFilesField(
        label="Photographs, or a zip of them",
        help_text="JPEG, PNG or TIFF, with a table beside them if there is one. Kept as they come.",
    )
    day = DayField(
        required=False, label="Day", help_text="For those whose name or row tells none, as 2029-03-04."
    )
    seen_by = forms.CharField(required=False, max_length=80, label="Taken by")


class ColumnsForm(forms.Form):
    """What each column is, asked once; and what words mean that nobody knows."""

    day = DayField(required=False, label="Day of rows that name none")
    seen_by = forms.CharField(required=False, max_length=80, label="Seen by, where a row names nobody")
    opened = forms.BooleanField(
        required=False, label="Cells were opened on the day of their first row, unless a column says when"
    )

    def __init__(
        self,
        *args: Any,
        columns: Mapping[str, Mapping[str, Any]],
        samples: Mapping[str, Sequence[str]],
        unknown: Mapping[str, Mapping[str, str]],
        terms: Sequence[Term],
        **kwargs: Any,
    ) -> None:
        """Lay a row of boxes for each column."""
        super().__init__(*args, **kwargs)
        self.terms = {term.key: term for term in terms}
        self.heads = list(columns)
        self.rows = []
        choices, parts = _choices(terms), _parts()
        for number, (head, plain) in enumerate(columns.items()):
            meaning = Meaning(**plain)
            part = f"{meaning.component} {meaning.number}" if meaning.component else ""
            boxes = {
                "as": forms.ChoiceField(choices=choices, required=False, initial=meaning.choice),
                "part": forms.ChoiceField(choices=parts, required=False, initial=part),
                "place": forms.CharField(required=False, max_length=40, initial=meaning.place),
                "unit": forms.CharField(required=False, max_length=12, initial=meaning.unit),
            }
            for name, box in boxes.items():
                box.widget.attrs["aria-label"] = f"{head}: {'is' if name == 'as' else name}"
                self.fields[f"{name}_{number}"] = box
            self.rows.append((head, samples.get(head, []), number))
        self.words: list[tuple[str, str, str, str]] = []
        for term, told in unknown.items():
            for folded, text in list(told.items())[:60]:
                name = f"word_{len(self.words)}"
                self.fields[name] = forms.ChoiceField(
                    choices=[("", "say what it means"), *self._meanings(term)], required=False, label=text
                )
                self.words.append((name, term, folded, text))

    def _meanings(self, term: str) -> list[tuple[str, str]]:
        if term == "asked":
            return [*((t.key, _named(t)) for t in self.terms.values()), ("skip", "nothing: leave it out")]
        return [(choice.said, choice.words) for choice in choices_of(self.terms[term])]

    @property
    def column_rows(self) -> list[dict[str, Any]]:
        """Give each column with its boxes, as the page shows them."""
        return [
            {
                "head": head,
                "samples": some,
                "boxes": [self[f"{name}_{number}"] for name in ("as", "part", "place", "unit")],
            }
            for head, some, number in self.rows
        ]

    @property
    def word_rows(self) -> list[dict[str, Any]]:
        """Give each unknown word with its choices."""
        return [
            {
                "text": text,
                "of": str(self.terms[term]) if term in self.terms else "what was asked",
                "box": self[name],
            }
            for name, term, _, text in self.words
        ]

    def clean(self) -> dict[str, Any]:
        """Read places and units."""
        found = super().clean() or {}
        for head, _, number in self.rows:
            try:
                read_place(found.get(f"place_{number}") or "")
            except NotAPlace as error:
                self.add_error(f"place_{number}", f"{head}: {error}")
        return found

    def columns(self) -> dict[str, Meaning]:
        """Give what each column is."""
        found = {}
        for head, _, number in self.rows:
            said = {
                name: self.cleaned_data.get(f"{name}_{number}") or ""
                for name in ("as", "part", "place", "unit")
            }
            kind, _, value = said["as"].partition(":")
            if kind == "role":
                found[head] = Meaning(role=value)
            elif kind == "term":
                component, _, which = said["part"].partition(" ")
                place = read_place(said["place"]).address
                found[head] = column_of(
                    self.terms[value], plain_unit(said["unit"]), component, place, int(which or 1)
                )
            else:
                found[head] = Meaning()
        return found

    def meant(self) -> dict[str, dict[str, str]]:
        """Give the words that were explained."""
        found: dict[str, dict[str, str]] = {}
        for name, term, folded, _ in self.words:
            if self.cleaned_data.get(name):
                found.setdefault(term, {})[folded] = self.cleaned_data[name]
        return found


def _named(term: Term) -> str:
    part = term.data.get("component", "").removeprefix("component.").replace("_", " ")
    return f"{term.words}, {part}" if part and part not in term.words else term.words


def _choices(terms: Sequence[Term]) -> list[Any]:
    titles = {card.key: card.title for card in CARDS}
    by_card: dict[str, list[tuple[str, str]]] = {}
    for term in terms:
        by_card.setdefault(titles.get(term.data.get("card", ""), "Anywhere"), []).append(
            (f"term:{term.key}", _named(term))
        )
    return [
        ("", "nothing: leave it out"),
        ("of the row", [(f"role:{key}", words) for key, words in ROLES.items()]),
        *by_card.items(),
    ]


def _parts() -> list[tuple[str, str]]:
    choices = [("", "")]
    for term in Term.objects.of("component"):
        choices.append((f"{term.key} 1", term.words))
        if term.key in ("component.separator", "component.air_electrode"):
            choices.append((f"{term.key} 2", f"{term.words} 2"))
    return choices


class BringForm(forms.Form):
    """The words that let an import be written; each is asked only where it is needed."""

    leave_out_refused = forms.BooleanField(
        required=False, label="Leave out what was refused, and write the rest"
    )
    read_unusual = forms.BooleanField(
        required=False, label="I read the unusual numbers again in the record, and so they are"
    )
    opened = forms.BooleanField(
        required=False,
        initial=True,
        label="Cells that are shown from within were opened on the day of the first such photograph",
        help_text="Only where nothing else says when. Without it they stay under Waiting.",
    )


class TakeBackForm(forms.Form):
    """Why an import is withdrawn."""

    reason = forms.CharField(max_length=200, label="Why it is withdrawn")

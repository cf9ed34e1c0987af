"""What is typed about words."""

from typing import Any

from django import forms

from teardown.page.fields import NumberField
from teardown.vocabulary.models import Term

PER = [("cell", "cell"), ("part", "part"), ("place", "place on a part"), ("sample", "sample")]
KINDS = [
    ("presence", "seen or not"),
    ("choice", "one of its answers"),
    ("number", "a number"),
    ("text", "words"),
]


class TermForm(forms.Form):
    """A new term of a list."""

    words = forms.CharField(max_length=120, label="words")
    explanation = forms.CharField(widget=forms.Textarea, required=False, label="explanation")
    reason = forms.CharField(max_length=400, required=False, label="why it is wanted")

    def data_of_kind(self) -> dict[str, Any]:
        """Give what the kind needs beside words."""
        return {}

    def answers(self) -> list[str]:
        """Give the words of the answers."""
        return []

    @property
    def family_name(self) -> str:
        """Give the family."""
        return str(self.cleaned_data.get("family", ""))


class EndTermForm(TermForm):
    """A new end of a test."""

    censors = forms.BooleanField(required=False, label="the cell had not failed: such a test is censored")

    def data_of_kind(self) -> dict[str, Any]:
        """Say whether it censors."""
        return {"censors": self.cleaned_data["censors"]}


class ModeTermForm(TermForm):
    """A new failure mode."""

    family = forms.ChoiceField(label="family")
    speaks_for = forms.CharField(widget=forms.Textarea, label="what speaks for it")
    speaks_against = forms.CharField(widget=forms.Textarea, label="what speaks against it")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        """Offer the families there are."""
        super().__init__(*args, **kwargs)
        families = Term.objects.filter(kind=Term.Kind.MODE).exclude(family="").order_by("family")
        names = families.values_list("family", flat=True).distinct()
        self.fields["family"].choices = [(n, n) for n in names]  # type: ignore[attr-defined]

    def data_of_kind(self) -> dict[str, Any]:
        """Say what speaks for it and against it."""
        number = Term.objects.filter(kind=Term.Kind.MODE, data__code__startswith="LAB").count() + 1
        return {
            "code": f"LAB{number}",
            "for": self.cleaned_data["speaks_for"],
            "against": self.cleaned_data["speaks_against"],
        }


class FieldTermForm(TermForm):
    """Something new to ask at the bench."""

    card = forms.ChoiceField(label="asked on the card")
    kind = forms.ChoiceField(choices=KINDS, label="answered by")
    per = forms.ChoiceField(choices=PER, label="for each")
    component = forms.ChoiceField(required=False, label="component")
    unit = forms.CharField(max_length=12, required=False, help_text="Of a number.", label="unit")
    usual_low = NumberField(required=False, label="usual from")
    usual_high = NumberField(required=False, label="usual to")
    answer_words = forms.CharField(
        widget=forms.Textarea, required=False, label="answers", help_text="One a line, commonest first."
    )
    field_order = ["words", "card", "kind", "per", "component", "unit", "usual_low", "usual_high"]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        """Offer the cards and components there are."""
        super().__init__(*args, **kwargs)
        used = (
            Term.objects.filter(kind=Term.Kind.FIELD)
            .order_by("order", "pk")
            .values_list("data__card", flat=True)
        )
        cards = [card for card in dict.fromkeys(used) if card]
        parts = Term.objects.of(Term.Kind.COMPONENT).values_list("key", "words")
        self.fields["card"].choices = [(c, str(c).replace("_", " ")) for c in cards]  # type: ignore[attr-defined]
        self.fields["component"].choices = [("", "none in particular"), *parts]  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        """Hold kind, unit and answers together."""
        data: dict[str, Any] = super().clean() or {}
        if data.get("kind") == "number" and not data.get("unit"):
            self.add_error("unit", "A number needs its unit; write 1 where it has none.")
        if data.get("kind") == "choice" and len(self.answers()) < 2:
            self.add_error("answer_words", "Give at least two answers, one a line.")
        if data.get("kind") != "choice" and self.answers():
            self.add_error("answer_words", "Only a choice has answers.")
        return data

    def answers(self) -> list[str]:
        """Give the words of the answers."""
        return [
            line.strip() for line in self.cleaned_data.get("answer_words", "").splitlines() if line.strip()
        ]

    def data_of_kind(self) -> dict[str, Any]:
        """Give card, kind, component, unit and what is usual."""
        data: dict[str, Any] = {name: self.cleaned_data[name] for name in ("card", "kind", "per")}
        if self.cleaned_data["component"]:
            data["component"] = self.cleaned_data["component"]
        if data["kind"] == "number":
            data["unit"] = self.cleaned_data["unit"]
            low, high = self.cleaned_data["usual_low"], self.cleaned_data["usual_high"]
            if low is not None and high is not None:
                data["usual"] = [float(low), float(high)]
        return data


FORMS: dict[str, type[TermForm]] = {
    Term.Kind.END: EndTermForm,
    Term.Kind.MODE: ModeTermForm,
    Term.Kind.FIELD: FieldTermForm,
}


class SeenForm(forms.Form):
    """A form that remembers the version of the vocabulary the person saw."""

    seen = forms.IntegerField(widget=forms.HiddenInput)


class RewordForm(SeenForm):
    """Other words for the same thing."""

    words = forms.CharField(max_length=120, label="words")
    explanation = forms.CharField(widget=forms.Textarea, required=False, label="explanation")
    reason = forms.CharField(max_length=400, required=False, label="why")


class RetireForm(SeenForm):
    """A term asked no more, or merged into another."""

    into = forms.ModelChoiceField(
        queryset=Term.objects.none(), required=False, empty_label="no other", label="use instead"
    )
    reason = forms.CharField(max_length=400, label="why")

    def __init__(self, *args: Any, term: Term, **kwargs: Any) -> None:
        """Offer the other terms of its list."""
        super().__init__(*args, **kwargs)
        others = Term.objects.filter(kind=term.kind, parent=term.parent, retired_at=None)
        self.fields["into"].queryset = others.exclude(pk=term.pk)  # type: ignore[attr-defined]


class AnswerForm(forms.Form):
    """A new answer to a question."""

    words = forms.CharField(max_length=120, label="a new answer")
    reason = forms.CharField(max_length=400, required=False, label="why it is wanted")

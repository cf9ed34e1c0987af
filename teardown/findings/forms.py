"""What is typed about why a cell ended."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.functional import cached_property

from teardown.accounts.models import User
from teardown.dissection.models import BenchTime
from teardown.findings.actions import Assigned
from teardown.findings.dossier.evidence import Item
from teardown.findings.models import Judgement
from teardown.findings.rules import SEVERITIES, Claim, Usual, faults_of_claim
from teardown.page.fields import NumberField
from teardown.science.reliability.evidence import Confidence
from teardown.vocabulary.models import Term

MOST_LINES = 8
ORDINALS = tuple(
    f"{nth} mode" for nth in ["first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth"]
)
SIDES = [("", "—"), ("for", "for"), ("against", "against")]
ROLES = [(each, each) for each in ("root", "contributing", "consequence", "incidental")]
CONFIDENCES = [(each.value, each.value) for each in Confidence]


class Line:
    """One mode on the form: its fields, and what the evidence chosen so far holds up."""

    def __init__(self, form: "JudgementForm", number: int) -> None:
        """Keep the form and the number of the line."""
        self.form, self.number = form, number

    @property
    def fields(self) -> list[forms.BoundField]:
        """Give the fields of this line."""
        names = ("mode", "role", "confidence", "severity", "words")
        return [self.form[f"{name}_{self.number}"] for name in names]

    @property
    def words(self) -> str:
        """Name the line by its mode, once one is chosen."""
        term = self.form.term(self.number)
        return term.words if term else ORDINALS[self.number]

    @cached_property
    def claim(self) -> Claim | None:
        """Give what the line claims; nothing before a mode is chosen."""
        assigned = self.form.line(self.number) if self.form.is_bound and self.form.is_valid() else None
        return assigned.claim() if assigned else None

    @property
    def faults(self) -> list[str]:
        """Say what the line lacks."""
        return faults_of_claim(self.claim) if self.claim else []


class JudgementForm(forms.Form):
    """Modes in lines, and for each thing found on which side of which mode it stands."""

    note = forms.CharField(
        required=False,
        widget=forms.Textarea(attrs={"rows": 2}),
        label="in words",
        help_text="What led you there, and what you could not see.",
    )

    def __init__(self, data: Any = None, *, items: Mapping[str, Item], lines: int = 3, **kwargs: Any) -> None:
        """Lay out as many lines as there are, for the things that can be pointed at."""
        super().__init__(data, **kwargs)
        self.items, self.count = items, max(1, min(lines, MOST_LINES))
        self.terms = {term.key: term for term in Term.objects.of("mode")}
        for number in range(self.count):
            self._lay_out(number)

    def _lay_out(self, number: int) -> None:
        add = self.fields
        add[f"mode_{number}"] = forms.ChoiceField(
            choices=_grouped(self.terms), label="failure mode", required=False
        )
        add[f"role_{number}"] = forms.ChoiceField(
            choices=ROLES, label="role", initial="root" if number == 0 else "contributing", required=False
        )
        add[f"confidence_{number}"] = forms.ChoiceField(
            choices=CONFIDENCES, label="confidence", initial="possible", required=False
        )
        add[f"severity_{number}"] = forms.TypedChoiceField(
            choices=[("", "not said"), *SEVERITIES.items()],
            coerce=int,
            empty_value=None,
            label="severity",
            required=False,
        )
        add[f"words_{number}"] = forms.CharField(max_length=200, label="in words", required=False)
        for reference in self.items:
            add[f"{reference}_{number}"] = forms.ChoiceField(choices=SIDES, label="", required=False)

    @cached_property
    def lines(self) -> list[Line]:
        """Give the lines."""
        return [Line(self, number) for number in range(self.count)]

    def sides(self, reference: str) -> Iterator[tuple[Line, forms.BoundField]]:
        """Give, for one thing found, the choice of side in each line."""
        for line in self.lines:
            field = self[f"{reference}_{line.number}"]
            field.field.widget.attrs["aria-label"] = (
                f"{self.items[reference].words}: speaks for or against {line.words}"
            )
            yield line, field

    def term(self, number: int) -> Term | None:
        """Give the mode chosen in a line."""
        return self.terms.get(str(self[f"mode_{number}"].value() or ""))

    def line(self, number: int) -> Assigned | None:
        """Give one line as it is to be assigned; nothing for an empty line."""
        said, term = self.cleaned_data, self.term(number)
        if term is None:
            return None
        sides: dict[str, list[Any]] = {"for": [], "against": []}
        for reference, item in self.items.items():
            if side := said.get(f"{reference}_{number}"):
                sides[side].append(item.row)
        return Assigned(
            mode=term,
            role=said[f"role_{number}"] or "contributing",
            confidence=said[f"confidence_{number}"] or "possible",
            severity=said.get(f"severity_{number}"),
            for_=sides["for"],
            against=sides["against"],
            words=said[f"words_{number}"],
        )

    def assigned(self) -> Sequence[Assigned]:
        """Give all lines that name a mode."""
        return [line for number in range(self.count) if (line := self.line(number))]

    def clean(self) -> dict[str, Any]:
        """Ask for the mode where evidence was pointed at for none."""
        said: dict[str, Any] = super().clean() or {}
        for number in range(self.count):
            if self.term(number) is None and any(said.get(f"{ref}_{number}") for ref in self.items):
                self.add_error(
                    f"mode_{number}", ValidationError("Choose the mode that this evidence is for.")
                )
        return said


def initial_from(judgement: Judgement | None) -> dict[str, Any]:
    """Begin from a judgement that was given before."""
    if judgement is None:
        return {}
    found: dict[str, Any] = {"note": judgement.note}
    ordered = sorted(judgement.assignments.all(), key=lambda each: (each.role != "root", each.pk))
    for number, row in enumerate(ordered[:MOST_LINES]):
        found |= {
            f"mode_{number}": row.mode.key,
            f"role_{number}": row.role,
            f"confidence_{number}": row.confidence,
            f"severity_{number}": row.severity or "",
            f"words_{number}": row.words,
        }
        for each in row.evidence.all():
            kind, thing = each.thing
            found[f"{kind}:{thing.pk}_{number}"] = each.side
    return found


def _grouped(terms: Mapping[str, Term]) -> list[Any]:
    """Put modes under the part of the cell that they are of."""
    groups: dict[str, list[tuple[str, str]]] = {}
    for term in terms.values():
        groups.setdefault(term.family or "other", []).append((term.key, term.words))
    return [("", "choose"), *groups.items()]


class DecisionForm(forms.Form):
    """Which judgement holds, and why."""

    outcome = forms.ModelChoiceField(
        queryset=Judgement.objects.none(),
        widget=forms.RadioSelect,
        empty_label=None,
        label="the judgement that holds",
    )
    reason = forms.CharField(widget=forms.Textarea(attrs={"rows": 2}), label="why")

    def __init__(self, *args: Any, standing: Sequence[Judgement], **kwargs: Any) -> None:
        """Offer the judgements that stand."""
        super().__init__(*args, **kwargs)
        field = self.fields["outcome"]
        assert isinstance(field, forms.ModelChoiceField)
        field.queryset = Judgement.objects.filter(pk__in=[each.pk for each in standing]).with_grounds()
        field.label_from_instance = _said  # type: ignore[method-assign,assignment]


def _said(judgement: Judgement) -> str:
    root = judgement.root
    return f"{judgement.assessor}: {f'{root.mode.words}, {root.confidence}' if root else 'no root named'}"


FIRST = {"value": "value", "range": "from", "doubt": ""}
SECOND = {"value": "give or take", "range": "to", "doubt": "give or take"}


class StatedForm(forms.Form):
    """One thing that a balance would assume, stated instead: numbers as a reader takes them, and whence."""

    first = forms.FloatField(required=False)
    second = forms.FloatField(label="give or take")
    source = forms.CharField(label="where it is from", max_length=200)

    def __init__(self, *args: Any, usual: Usual, **kwargs: Any) -> None:
        """Name the boxes by what they hold."""
        super().__init__(*args, **kwargs)
        self.auto_id = f"{usual.key}-%s"
        self.usual = usual
        if usual.shape == "doubt":
            del self.fields["first"]
        else:
            self.fields["first"].label, self.fields["first"].required = FIRST[usual.shape], True
        self.fields["second"].label = f"{SECOND[usual.shape]}, {usual.unit}"

    @property
    def stated(self) -> dict[str, Any]:
        """Give value, doubt and source as the books keep them."""
        per = 100.0 if self.usual.unit.startswith("%") else 1.0
        first, second = (self.cleaned_data.get("first") or 0.0) / per, self.cleaned_data["second"] / per
        source = self.cleaned_data["source"]
        if self.usual.shape == "range":
            return {"value": (first + second) / 2, "doubt": (second - first) / 2, "source": source}
        return {"value": first, "doubt": second, "source": source}

    def clean(self) -> dict[str, Any]:
        """Refuse a range that ends before it begins."""
        data: dict[str, Any] = super().clean() or {}
        first, second = data.get("first"), data.get("second")
        if self.usual.shape == "range" and first is not None and second is not None and second < first:
            self.add_error("second", "A range ends above where it begins.")
        return data


class BenchTimeForm(forms.Form):
    """Who opens a cell, on which day, in which part of it; empty takes it away."""

    person = forms.ModelChoiceField(User.objects.filter(is_active=True), required=False)
    day = forms.DateField(required=False)
    slot = forms.ChoiceField(required=False, choices=[("", ""), *BenchTime.Slot.choices])
    seen = forms.IntegerField(required=False, min_value=0)

    def clean_seen(self) -> int:
        """Give the version that the person saw; 0 where nothing was given yet."""
        return self.cleaned_data["seen"] or 0


class HoursForm(forms.Form):
    """How many hours the bench has, and how many a cell takes."""

    hours_a_day = NumberField(above=0, high=240, unit="h", label="Person-hours of the bench a working day")
    hours_a_cell = NumberField(
        required=False, above=0, high=100, unit="h", label="Hours a cell",
        help_text="Empty: a proposal, until thirty dissections were logged here.",
    )  # fmt: skip

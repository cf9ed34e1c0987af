"""The records in plain sentences: who did what, to what, when and why."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.apps import apps
from django.db.models import QuerySet

from teardown.findings.models import Judgement
from teardown.records.models import ChainHead, Record
from teardown.vocabulary.models import Term

A_PAGE = 100
JUDGING = ("judged", "proposed modes of")
HIDDEN = "hidden until you have judged"


@dataclass(frozen=True, slots=True)
class Told:
    """One record as a sentence."""

    record: Record
    who: str
    verb: str
    what: str
    href: str
    changes: tuple[tuple[str, str, str], ...]
    reason: str = ""


NOUNS = {
    "cells.cell": "", "cells.test": "the test of", "cells.build": "build", "cells.recipe": "recipe",
    "cells.reciperevision": "recipe", "cells.material": "material", "cells.lot": "", "cells.study": "study",
    "cells.protocolrevision": "protocol", "cells.chamber": "chamber", "cells.channel": "channel",
    "files.delivery": "import", "files.receipt": "file", "files.run": "computation",
    "dissection.dissection": "the dissection of", "dissection.photograph": "photograph",
    "dissection.sample": "sample", "dissection.mount": "mount", "dissection.section": "section",
    "dissection.order": "order",
    "imaging.micrograph": "micrograph", "imaging.imagingsession": "imaging session",
    "diffraction.pattern": "pattern", "diffraction.fit": "phase fractions",
    "findings.judgement": "the judgement of", "findings.decision": "the decision on",
    "findings.balance": "the balance of",
    "accounts.user": "",
    "vocabulary.term": "term", "review.mark": "mark", "review.keptview": "the view",
}  # fmt: skip
AT_THE_BENCH = {
    "logged": "logged {term} in",
    "amended": "amended {term} in",
    "withdrew": "withdrew {term} from",
    "moved": "moved {term} within",
    "photographed": "took a photograph in",
    "labelled": "labelled a photograph of",
}


def told(records: Iterable[Record], user: Any) -> list[Told]:
    """Put records into words. One query for each kind of thing that they speak of.

    What others judged stays hidden from a judge of the same cell who has yet to judge: of such a record
    only who and when is told.
    """
    rows = list(records)
    hidden = _hidden(rows, user)
    names = _names({r.subject for r in rows})
    keys = {str(r.payload["term"]) for r in rows if r.verb in AT_THE_BENCH and "term" in r.payload}
    terms = dict(Term.objects.filter(key__in=keys).values_list("key", "words")) if keys else {}
    return [
        Told(
            record,
            str(record.actor) if record.actor else "The application",
            _verb(record, terms),
            *names.get(record.subject, (record.subject, "")),
            () if record.seq in hidden else tuple(_changes(record.payload)),
            HIDDEN if record.seq in hidden else record.reason,
        )
        for record in rows
    ]


def _hidden(rows: list[Record], user: Any) -> set[int]:
    judging = {
        row.seq: (int(row.subject.rpartition(":")[2]), row.actor_id) for row in rows if row.verb in JUDGING
    }
    if not judging:
        return set()
    cells = {cell for cell, _ in judging.values()}
    seen = set(Judgement.objects.filter(cell__in=cells).visible_to(user).values_list("cell", "assessor"))
    return {seq for seq, told_of in judging.items() if told_of not in seen}


def _verb(record: Record, terms: dict[str, str]) -> str:
    if not record.subject.startswith("dissection.dissection:") or record.verb not in AT_THE_BENCH:
        return record.verb
    term = str(record.payload.get("term", ""))
    return AT_THE_BENCH[record.verb].format(term=f"“{terms.get(term, term)}”" if term else "an entry")


def gathered(rows: Iterable[Told], most: int) -> list[tuple[Told, int]]:
    """Put those that say the same and stand near into one, with how often it was said."""
    found: list[tuple[Told, int]] = []
    for row in rows:
        near = range(max(0, len(found) - 3), len(found))
        alike = next((i for i in near if _said(found[i][0]) == _said(row)), -1)
        if alike >= 0:
            found[alike] = (found[alike][0], found[alike][1] + 1)
        elif len(found) == most:
            break
        else:
            found.append((row, 1))
    return found


def _said(row: Told) -> tuple[str, str, str, str]:
    return row.who, row.verb, row.what, row.reason


def _names(subjects: set[str]) -> dict[str, tuple[str, str]]:
    by_label: dict[str, set[int]] = defaultdict(set)
    for subject in subjects:
        label, _, key = subject.partition(":")
        if key.isdigit():
            by_label[label].add(int(key))
    found: dict[str, tuple[str, str]] = {}
    for label, keys in by_label.items():
        try:
            model = apps.get_model(label)
        except (LookupError, ValueError):
            continue
        manager = getattr(model, "all_ever", model._default_manager)
        rows = manager.filter(pk__in=keys)
        links = [
            f.name
            for f in model._meta.get_fields()
            if f.name in ("cell", "dissection", "term", "material", "protocol", "recipe", "test")
        ]
        for row in rows.select_related(*_paths(links)):
            found[f"{label}:{row.pk}"] = (_named(label, row), _href(row))
    return found


def _paths(links: list[str]) -> list[str]:
    deeper = {"dissection": "dissection__cell", "test": "test__cell"}
    return [deeper.get(link, link) for link in links]


def _named(label: str, row: Any) -> str:
    noun = NOUNS.get(label, row._meta.verbose_name)
    cell = getattr(row, "cell", None) or getattr(getattr(row, "dissection", None), "cell", None)
    if noun.endswith((" of", " on")):
        return f"{noun} {cell}" if cell else noun.removesuffix(" of").removesuffix(" on")
    name = str(row)
    own = "" if name.startswith(row.__class__.__name__) else name
    return " ".join(filter(None, [noun, own or str(row.pk), f"of {cell}" if cell and not own else ""]))


def _href(row: Any) -> str:
    cell = row if row._meta.label_lower == "cells.cell" else getattr(row, "cell", None)
    cell = cell or getattr(getattr(row, "dissection", None), "cell", None)
    if cell is not None and cell.withdrawn_at is None:
        return str(cell.get_absolute_url())
    return ""


def _changes(payload: dict[str, Any]) -> Iterable[tuple[str, str, str]]:
    """Read what changed out of a payload: pairs of before and after by field, or plain facts."""
    before, after = payload.get("before"), payload.get("after")
    if isinstance(before, dict) and isinstance(after, dict):
        for name in sorted({*before, *after}):
            if before.get(name) != after.get(name):
                yield name, _short(before.get(name)), _short(after.get(name))
        return
    for name, value in sorted(payload.items()):
        if isinstance(value, list) and len(value) == 2 and name not in ("roles", "cells"):
            yield name, _short(value[0]), _short(value[1])
        elif value not in ("", None, [], {}):
            yield name, "", _short(value)


def _short(value: Any) -> str:
    text = ", ".join(map(str, value)) if isinstance(value, list) else "" if value is None else str(value)
    return text if len(text) <= 80 else text[:79] + "…"


@dataclass(frozen=True, slots=True)
class ChainState:
    """What the walk along the chain found."""

    length: int
    walked: int
    faults: tuple[tuple[int, str], ...]

    @property
    def sentence(self) -> str:
        """Say it."""
        if self.faults:
            seq, fault = self.faults[0]
            return f"The chain is broken at record {seq}: {fault}. Tell the administrator now."
        return (
            f"The chain of {self.length} records was walked from its beginning, and each fits the one before."
        )


def chain_state() -> ChainState:
    """Walk the whole chain and compare it with its head."""
    head = ChainHead.objects.get(pk=1)
    faults = list(Record.objects.all().broken())[:20]
    walked = Record.objects.filter(seq__lte=head.seq).count()
    if walked < head.seq and not faults:
        faults.append((walked + 1, "the end of the chain is missing"))
    return ChainState(head.seq, walked, tuple(faults))


def page_of_records(records: QuerySet[Record], before: int | None, user: Any) -> tuple[list[Told], int]:
    """Give one page, newest first, and the number before which the next one begins (0 at the end)."""
    rows = records.select_related("actor").order_by("-seq")
    if before:
        rows = rows.filter(seq__lt=before)
    page = list(rows[: A_PAGE + 1])
    return told(page[:A_PAGE], user), page[A_PAGE - 1].seq if len(page) > A_PAGE else 0

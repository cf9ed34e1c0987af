"""The paper sheet of a dead tablet: printed with the cell's plan and cards, typed in later."""

import datetime as dt
import json
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import segno
from django.utils import timezone

from teardown.dissection.dossier.cards import CardShown, Stack, part_buttons, stack
from teardown.dissection.models import Dissection, Keying, Transcription
from teardown.dissection.rules.cards import is_keyed_twice
from teardown.dissection.rules.cautions import HEADER
from teardown.dissection.rules.places import all_places
from teardown.page.finders import typeface_folders
from teardown.page.numbers import read_number
from teardown.page.typesetting import day, moment
from teardown.vocabulary.models import Term

TYPST = Path(__file__).parent / "paper.typ"
PARTS_PRINTED = 9
REPLICATES = ("first", "second", "third")


def sheet_data(dissection: Dissection, now: dt.datetime) -> dict[str, Any]:
    """Gather what the paper sheet of one cell prints. Recipe and curve are on no paper; constituents are."""
    whole = stack(dissection)
    plan = getattr(dissection.cell, "plan", None)
    parts = part_buttons(dissection)
    return {
        "code": dissection.cell.code,
        "printed": moment(timezone.localtime(now)),
        "vocabulary": whole.vocabulary,
        "header": HEADER,
        "constituents": ", ".join(whole.constituents) or "nothing that was listed",
        "questions": list(plan.questions) if plan else [],
        "plan": [
            [str(item.component), item.place, str(item.technique), item.purpose]
            for item in (plan.items.select_related("component", "technique") if plan else [])
        ],
        "opened": f"Opened {whole.opening.when}" if whole.opening else "",
        "cards": [_card(shown, whole, parts) for shown in whole.cards if shown.asks or shown.no_acid],
    }


def _card(shown: CardShown, whole: Stack, parts: list[tuple[str, int, str]]) -> dict[str, Any]:
    card = shown.card
    rows: list[str] = []
    if card.per == "place":
        rows = [place.address for place in all_places(whole.grid)] + ["whole"]
    elif card.per == "part" and not card.component and len(shown.asks) > 1 and card.key == "parts":
        rows = [words for _, _, words in parts][:PARTS_PRINTED]
    elif card.per == "sample":
        rows = [f"{name}, vial" for name in REPLICATES]
    return {
        "title": card.title,
        "cautions": [said.card.title for said in shown.cautions],
        "no_acid": shown.no_acid,
        "rows": rows,
        "row_head": {"place": "place", "sample": "reading"}.get(card.per, "part"),
        "asks": [
            {
                "words": ask.words,
                "unit": "" if ask.unit == "1" else ask.unit,
                "kind": ask.kind,
                "answers": [button.words for button in ask.buttons if not button.said.startswith("state:")],
                "absent": next((b.words for b in ask.buttons if b.said == "state:absent"), ""),
                "present": any(b.said == "state:present" for b in ask.buttons),
                "twice": is_keyed_twice({"kind": ask.kind, "critical": ask.critical, "card": card.key,
                                         "quantity": ask.quantity}),
            }
            for ask in shown.asks
        ],
    }  # fmt: skip


def paper_pdf(dissections: Sequence[Dissection], now: dt.datetime) -> bytes:
    """Set the paper sheets of some cells as one PDF. Text reaches the typesetter as data, never as markup."""
    import typst

    with tempfile.TemporaryDirectory(prefix="paper-") as folder:
        root = Path(folder)
        sheets = []
        for number, dissection in enumerate(dissections):
            mark = segno.make(dissection.cell.code, error="h", micro=False)
            mark.save(str(root / f"{number}.svg"), border=2, xmldecl=False)
            sheets.append(sheet_data(dissection, now) | {"svg": f"{number}.svg"})
        (root / "paper.json").write_text(json.dumps({"sheets": sheets}), encoding="utf-8")
        (root / "paper.typ").write_text(TYPST.read_text(encoding="utf-8"), encoding="utf-8")
        return bytes(
            typst.compile(
                str(root / "paper.typ"),
                root=str(root),
                font_paths=[str(folder) for folder in typeface_folders()],
                format="pdf",
            )
        )


@dataclass(frozen=True, slots=True)
class Waiting:
    """A critical number that was keyed once: what it is, never what was keyed."""

    slot: str
    words: str
    unit: str


@dataclass(frozen=True, slots=True)
class Differing:
    """A critical number that was keyed differently the second time."""

    slot: str
    words: str
    unit: str
    first: str
    second: str


@dataclass(frozen=True, slots=True)
class Keyed:
    """How far the critical numbers of a sheet are."""

    waiting: tuple[Waiting, ...]
    differing: tuple[Differing, ...]


def keyed(transcription: Transcription) -> Keyed:
    """Work out which numbers wait for their second keying, and which differ."""
    turns: dict[str, dict[int, Keying]] = {}
    for each in transcription.keyings.all():
        turns.setdefault(each.slot, {})[each.turn] = each
    terms = {t.key: t for t in Term.objects.filter(key__in=[slot_parts(slot)[0] for slot in turns])}
    waiting, differing = [], []
    for slot, by_turn in turns.items():
        term = terms[slot_parts(slot)[0]]
        words, unit = slot_words(slot, term), str(term.data.get("unit", ""))
        if Keying.Turn.SECOND not in by_turn:
            waiting.append(Waiting(slot, words, unit))
        elif Keying.Turn.COMPARED not in by_turn and not alike(by_turn[1].text, by_turn[2].text):
            differing.append(Differing(slot, words, unit, by_turn[1].text, by_turn[2].text))
    return Keyed(tuple(waiting), tuple(differing))


def alike(first: str, second: str) -> bool:
    """Tell whether two keyings are the same number, comma or point."""
    return float(read_number(first)) == float(read_number(second))


def slot_parts(slot: str) -> tuple[str, str, int, str, str]:
    """Read ``term|component|number|place|sample``."""
    term, component, number, place, sample = slot.split("|")
    return term, component, int(number or 1), place, sample


def slot_words(slot: str, term: Term) -> str:
    """Say which number a slot is."""
    _, component, number, place, sample = slot_parts(slot)
    part = component.removeprefix("component.").replace("_", " ")
    which = f"{part} {number}" if number > 1 else part
    return ", ".join(filter(None, [str(term), which, place, sample]))


def transcription_words(transcription: Transcription) -> str:
    """Say which sheet it is: its day, who saw, who types."""
    who = str(transcription.observer or transcription.observer_named or "the sheet does not say who")
    when = day(transcription.dated_on) if transcription.dated_on else "a day not known"
    return f"sheet of {when}, seen by {who}"

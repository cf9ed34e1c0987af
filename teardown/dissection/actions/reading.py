"""Checks what a device handed in against vocabulary, instruments, people, and the cell as built."""

import datetime as dt
from collections.abc import Iterable
from dataclasses import replace
from typing import Any

from django.core.exceptions import ValidationError

from teardown.accounts.models import User
from teardown.dissection.actions.items import Item
from teardown.dissection.models import (
    AudioNote,
    Dissection,
    Entry,
    Instrument,
    Part,
    Photograph,
    Sample,
    Transcription,
)
from teardown.dissection.rules.places import NotAPlace, Place, grid_of, read_place, with_point
from teardown.dissection.rules.tiers import tiers_of
from teardown.dissection.rules.times import Moment, minutes_between
from teardown.page.numbers import UnreadableNumber, read_number
from teardown.vocabulary.models import Term, Version

AS_BUILT = (
    "build_mass_g", "iron_mass_g", "electrode_thickness_um", "electrode_width_mm", "electrode_height_mm",
)  # fmt: skip


class Unusual(ValidationError):
    """A number that can be, and is asked about once."""


class Reader:
    """Checks items against vocabulary, instruments, people, and the cell as built; fetched once for many."""

    def __init__(self, dissection: Dissection, items: Iterable[Item], now: dt.datetime) -> None:
        """Fetch what the items name."""
        items = list(items)
        self.dissection, self.now = dissection, now
        keys = {item.term for item in items}
        answers = {name for item in items for name in _answer_keys(item)}
        reasons = {item.not_done for item in items} | {f"not_done.{item.not_done}" for item in items}
        reasons |= {item.reason for item in items} | {f"reason.{item.reason}" for item in items}
        self.terms = {term.key: term for term in Term.objects.filter(key__in=keys | answers | reasons - {""})}
        self.versions = {version.number: version for version in Version.objects.all()}
        self.begun = dissection.pk is not None  # an import looks before the dissection is begun
        known = dissection.parts.select_related("component") if self.begun else []
        self.parts = {(part.component.key, part.number): part for part in known}
        self.instruments = {
            row.code: row for row in Instrument.objects.filter(code__in=[i.instrument for i in items])
        }
        self.people = {
            row.username: row for row in User.objects.filter(username__in=[i.observer for i in items])
        }
        self.photos = {
            row.key: row for row in Photograph.objects.filter(key__in=[i.photo for i in items if i.photo])
        }
        spoken = [item.audio for item in items if item.audio]
        self.audio = {row.key: row for row in AudioNote.objects.filter(key__in=spoken)} if spoken else {}
        self.samples = {
            row.code: row for row in Sample.objects.filter(code__in=[i.sample for i in items if i.sample])
        }
        sources = [i.transcription for i in items if i.transcription]
        self.sources = (
            {row.key: row for row in Transcription.objects.filter(key__in=sources)} if sources else {}
        )
        self.opened = dissection.opened() if self.begun else None
        self.floors = self._floors()
        cell = dissection.cell
        self.as_built = {name: getattr(cell, name) for name in AS_BUILT}

    def entry(self, item: Item, by: User, *, known_time: dt.datetime | None = None) -> Entry:
        """Turn an item into an entry, not saved, or say in sentences what keeps it from being one.

        ``known_time`` is a time of seeing that is in the record already: even a wrong one can be amended.

        Raises
        ------
        Unusual
            For an unusual number that was not read twice.
        ValidationError
            For everything else that is wrong with it.
        """
        term = self._term(item)
        observed_at = item.observed_at or self.now
        if observed_at != known_time:
            self._not_ahead(observed_at, item)
        entry = Entry(
            key=item.key, payload_sha256=item.digest(), dissection=self.dissection, term=term,
            step=item.step or term.data.get("card", ""), vocabulary=self._version(item),
            state=item.state, certainty=item.certainty, extent=item.extent,
            extent_fraction=item.extent_fraction, grid=item.grid, x=item.x, y=item.y, depth_um=item.depth_um,
            confirmed_unusual=item.confirmed_unusual, uniform=item.uniform, carried_over=item.carried_over,
            observed_at=observed_at, observed_precision=item.observed_precision,
            entered_at=item.entered_at or self.now, received_at=self.now, device_ms=item.device_ms,
            clock_id=item.clock, clock_offset_ms=item.clock_offset_ms, source=item.source,
            box=list(item.box) if item.box else None, source_words=item.source_words[:240],
            keyed_twice=item.keyed_twice,
        )  # fmt: skip
        self._whence(entry, item)
        self._who(entry, item, by)
        self._place(entry, item, term)
        self._what(entry, item, term)
        self._evidence(entry, item)
        entry.minutes_since_opening = self._minutes(item, entry)
        entry.clean_fields(exclude=[each.name for each in Entry._meta.fields if each.is_relation])
        return entry

    def _term(self, item: Item) -> Term:
        term = self.terms.get(item.term)
        if term is None or term.kind != Term.Kind.FIELD:
            raise ValidationError(f"“{item.term}” is nothing that is asked at the bench.")
        if term.merged_into_id:
            raise ValidationError(f"“{term}” was merged into “{term.merged_into}”; ask that.")
        return term

    def _version(self, item: Item) -> Version:
        number = item.vocabulary or max(self.versions)
        if number not in self.versions:
            raise ValidationError(f"There is no version {number} of the vocabulary.")
        return self.versions[number]

    def _not_ahead(self, observed_at: dt.datetime, item: Item) -> None:
        """Refuse times to come, beyond what a device's clock may be wrong by, and times before the build."""
        slack = dt.timedelta(milliseconds=abs(item.clock_offset_ms or 0)) + dt.timedelta(minutes=10)
        if observed_at > self.now + slack:
            raise ValidationError(
                f"{observed_at:%d %B %Y %H:%M} has not come yet. Look at the clock of the device."
            )
        built_on = self.dissection.cell.build.built_on
        if observed_at.date() < built_on:
            raise ValidationError(
                f"{observed_at:%d %B %Y} lies before the cell was built ({built_on:%d %B %Y})."
            )

    def _who(self, entry: Entry, item: Item, by: User) -> None:
        entry.observer = by
        if item.observer and item.observer != by.username:
            if item.observer not in self.people:
                raise ValidationError(f"Nobody here signs in as “{item.observer}”.")
            entry.observer, entry.scribe = self.people[item.observer], by

        if item.source != Entry.Source.TRANSCRIBED:
            return
        entry.observer_named = item.observer_named[:80]
        if item.observer != by.username:  # own words taken over by oneself have no scribe
            entry.scribe = by

    def _whence(self, entry: Entry, item: Item) -> None:
        """Tie what was taken over to the older record that it is from."""
        if item.transcription is None:
            return
        if item.source != Entry.Source.TRANSCRIBED:
            raise ValidationError("What was seen here is not from an older record.")
        if item.transcription not in self.sources:
            raise ValidationError("The older record that it is from is not here; bring that first.")
        entry.transcription = self.sources[item.transcription]

    def _place(self, entry: Entry, item: Item, term: Term) -> None:
        try:
            grid = grid_of(self.as_built["electrode_width_mm"])
            place = with_point(read_place(item.place), item.x, item.y, grid)
        except NotAPlace as error:
            raise ValidationError(str(error)) from error
        per = term.data.get("per", "cell")
        if per == "place" and place == Place():
            raise ValidationError(f"“{term}” is asked place by place: say where, as A.M2, or “whole”.")
        entry.face, entry.height, entry.width, entry.zone = place.face, place.height, place.width, place.zone
        entry.depth_fraction = place.depth_fraction
        if item.sample:
            if item.sample not in self.samples:
                raise ValidationError(f"There is no sample {item.sample}.")
            entry.sample = self.samples[item.sample]
            return
        component = item.component or term.data.get("component", "")
        if component:
            entry.part = self.part(component, item.number)
        elif per in {"part", "place"}:
            raise ValidationError(f"“{term}” is asked of a part: say which.")

    def part(self, component: str, number: int) -> Part:
        """Give a part of the cell, made when it is first spoken of (saved with the entry)."""
        key = component if component.startswith("component.") else f"component.{component}"
        if (key, number) not in self.parts:
            term = Term.objects.filter(key=key, kind=Term.Kind.COMPONENT).first()
            if term is None:
                raise ValidationError(f"A cell has no “{component}”.")
            self.parts[key, number] = Part(dissection=self.dissection, component=term, number=number)
        return self.parts[key, number]

    def _what(self, entry: Entry, item: Item, term: Term) -> None:
        kind = term.data.get("kind")
        if item.state == Entry.State.NOT_DONE:
            entry.not_done = self._named(item.not_done, "not_done", "Say why it was not done.")
            return
        if item.state not in (Entry.State.PRESENT, Entry.State.ABSENT, Entry.State.CANNOT_TELL):
            raise ValidationError(f"“{item.state}” is none of: present, absent, cannot tell, not done.")
        if item.state != Entry.State.PRESENT:
            entry.value_text = "" if item.value is None else str(item.value)
            return
        if kind == "choice":
            entry.answer = self._answer(item, term)
            entry.value_text = "" if item.value is None else str(item.value)
        elif kind == "number":
            self._number(entry, item, term)
        elif kind == "text":
            entry.value_text = str(item.value or "").strip()
            if not entry.value_text:
                raise ValidationError(f"“{term}”: no words were given.")
        elif kind == "presence" and item.value is not None:
            entry.value_text = str(item.value)

    def _answer(self, item: Item, term: Term) -> Term:
        for key in _answer_keys(item):
            found = self.terms.get(key)
            if found is not None and found.parent_id == term.pk:
                return found
        said = f"“{item.answer}” is no answer to “{term}”." if item.answer else f"“{term}” has no answer yet."
        choices = ", ".join(term.answers.values_list("words", flat=True))
        raise ValidationError(f"{said} Choose one of: {choices}; or absent, or cannot tell.")

    def _number(self, entry: Entry, item: Item, term: Term) -> None:
        unit = term.data["unit"]
        if item.unit and item.unit != unit:
            raise ValidationError(f"“{term}” is kept in {unit}; this was in {item.unit}.")
        if item.value is None:
            raise ValidationError(f"“{term}”: no number was given.")
        try:
            number = read_number(item.value if isinstance(item.value, str) else repr(item.value))
        except UnreadableNumber as error:
            raise ValidationError(f"“{term}”: {error}") from error
        tier, sentence = tiers_of(term.data, self.as_built).judge(number)
        if tier == "impossible":
            raise ValidationError(f"“{term}”: {sentence}")
        if tier == "unusual" and not item.confirmed_unusual:
            raise Unusual(f"“{term}”: {sentence}", code="unusual")
        self._not_below(entry, float(number), term)
        entry.value, entry.value_text, entry.unit = float(number), number.text, unit
        self._instrument(entry, item, term)

    def _floors(self) -> dict[tuple[str, str], float]:
        """Fetch the readings that others must not lie below, by field and sample."""
        keys = {term.data["not_below"] for term in self.terms.values() if "not_below" in term.data}
        if not self.begun:
            return {}
        rows = self.dissection.entries.current().filter(term__key__in=keys, value__isnull=False)
        found = rows.order_by("pk").values_list("term__key", "sample__code", "value") if keys else []
        return {(key, sample or ""): value for key, sample, value in found if value is not None}

    def _not_below(self, entry: Entry, value: float, term: Term) -> None:
        """Refuse a second reading below the first: one of them was swapped or misread."""
        sample = entry.sample.code if entry.sample else ""
        self._remember_floor(term.key, sample, value)
        floor = self.floors.get((term.data.get("not_below", ""), sample))
        if floor is not None and value < floor:
            raise ValidationError(
                f"“{term}”: this reading, {value:g} {term.data['unit']}, is below the one before it, "
                f"{floor:g} {term.data['unit']}. Look whether the two were swapped."
            )

    def _remember_floor(self, key: str, sample: str, value: float) -> None:
        """Keep a reading of the same batch, which another must not lie below."""
        if any(term.data.get("not_below") == key for term in self.terms.values()):
            self.floors[key, sample] = value

    def _instrument(self, entry: Entry, item: Item, term: Term) -> None:
        entry.u = item.u
        if not item.instrument:
            return
        instrument = self.instruments.get(item.instrument)
        if instrument is None:
            raise ValidationError(f"There is no instrument {item.instrument}.")
        wanted = term.data.get("quantity", "")
        if wanted and instrument.quantity and instrument.quantity != wanted:
            raise ValidationError(f"{instrument} reads {instrument.quantity}, not {wanted}.")
        entry.instrument = instrument
        if item.u is None and instrument.unit == entry.unit:
            entry.u = instrument.u

    def _named(self, key: str, kind: str, missing: str) -> Term:
        term = self.terms.get(key) or self.terms.get(f"{kind}.{key}")
        if term is None or term.kind != kind:
            raise ValidationError(f"“{key}” is no such reason. {missing}" if key else missing)
        return term

    def reason(self, item: Item) -> Term:
        """Give the reason for an amendment."""
        return self._named(item.reason, "reason", "Give the reason for the amendment.")

    def _evidence(self, entry: Entry, item: Item) -> None:
        if item.photo:
            if item.photo not in self.photos:
                raise ValidationError("The photograph that it rests on is not here yet; send that first.")
            entry.photo = self.photos[item.photo]
        if item.audio:
            if item.audio not in self.audio:
                raise ValidationError("The spoken note that it rests on is not here yet; send that first.")
            entry.audio = self.audio[item.audio]
        if item.source == Entry.Source.PHOTO and not (entry.photo and item.box):
            raise ValidationError(
                "An observation from a photograph names the photograph and a rectangle on it."
            )
        if item.box and not (0 <= item.box[0] < item.box[2] <= 1 and 0 <= item.box[1] < item.box[3] <= 1):
            raise ValidationError("A rectangle is left, top, right, bottom as fractions of the photograph.")

    def _minutes(self, item: Item, entry: Entry) -> float | None:
        if item.minutes_since_opening is not None and entry.timed:
            return item.minutes_since_opening
        if self.opened is None or not entry.timed:
            return None
        minutes = minutes_between(self.opened, Moment(entry.observed_at, item.device_ms, item.clock))
        return round(minutes, 2) if minutes >= 0 else None


def _answer_keys(item: Item) -> tuple[str, ...]:
    return (f"{item.term}.{item.answer}", item.answer) if item.answer else ()


def as_item(entry: Entry, **changes: Any) -> Item:
    """Write an entry as the item that would make it again, with changes."""
    same = Item(
        term=entry.term.key,
        answer=entry.answer.key if entry.answer else "",
        value=entry.value_text or None,
        state=entry.state,
        component=entry.part.component.key if entry.part else "",
        number=entry.part.number if entry.part else 1,
        sample=entry.sample.code if entry.sample else "",
        place=entry.place,
        grid=entry.grid, x=entry.x, y=entry.y, depth_um=entry.depth_um, step=entry.step,
        certainty=entry.certainty, extent=entry.extent, extent_fraction=entry.extent_fraction,
        not_done=entry.not_done.key if entry.not_done else "",
        instrument=entry.instrument.code if entry.instrument else "",
        u=entry.u, confirmed_unusual=entry.confirmed_unusual, uniform=entry.uniform,
        observed_at=entry.observed_at, observed_precision=entry.observed_precision,
        device_ms=entry.device_ms, clock=entry.clock_id, source=entry.source,
        photo=entry.photo.key if entry.photo else None,
        audio=entry.audio.key if entry.audio else None,
        box=tuple(entry.box) if entry.box else None,
        transcription=entry.transcription.key if entry.transcription else None,
        observer_named=entry.observer_named, source_words=entry.source_words, keyed_twice=entry.keyed_twice,
    )  # fmt: skip
    return replace(same, **changes)

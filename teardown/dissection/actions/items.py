"""What a device hands in: one observation as an item, read from what JSON carries."""

import datetime as dt
import hashlib
import uuid
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, fields
from typing import Any

from django.core.exceptions import ValidationError
from django.utils.dateparse import parse_datetime

from teardown.records.rules import canonical

TIMES = ("observed_at", "entered_at")
ADDED = frozenset({"transcription", "observer_named", "source_words", "keyed_twice", "audio"})
"""Names that came later: where they say nothing, a digest is what it was before there were any."""


@dataclass(frozen=True, slots=True)
class Item:
    """One thing seen or measured, as said. Only ``term`` is needed; what is empty was not said.

    Parameters
    ----------
    term : str
        Key of a field, ``iron.colour``.
    answer : str
        Key of an answer; ``green`` is enough for ``iron.colour.green``.
    value : str or float
        The number as typed, point or comma, in the unit of the field; or words.
    state : str
        ``present`` (default), ``absent``, ``cannot tell``, ``not done`` (then ``not_done`` says why).
    place : str
        ``A.M2``, ``liquid line``, ``whole``; for fields that are asked place by place.
    component, number : str, int
        Which part, if not the one that the field is about: ``separator``, 2.
    key : UUID
        Made by the device, so that a repeat is recognised.
    confirmed_unusual : bool
        The person read it twice.
    observer : str
        Who saw it (sign-in name), if not the one who types.
    transcription : UUID
        The older record that it was taken over from; then ``observer_named`` is whom that names, and
        ``source_words`` where it has it, in its own words.
    """

    term: str
    key: uuid.UUID = field(default_factory=uuid.uuid4)
    answer: str = ""
    value: str | float | None = None
    state: str = "present"
    unit: str = ""
    component: str = ""
    number: int = 1
    sample: str = ""
    place: str = ""
    grid: str = ""
    x: float | None = None
    y: float | None = None
    depth_um: float | None = None
    step: str = ""
    certainty: str = ""
    extent: str = ""
    extent_fraction: float | None = None
    not_done: str = ""
    instrument: str = ""
    u: float | None = None
    confirmed_unusual: bool = False
    uniform: bool = False
    carried_over: bool = False
    observed_at: dt.datetime | None = None
    observed_precision: str = "second"
    entered_at: dt.datetime | None = None
    device_ms: int | None = None
    clock: str = ""
    clock_offset_ms: int | None = None
    minutes_since_opening: float | None = None
    observer: str = ""
    source: str = "seen"
    photo: uuid.UUID | None = None
    audio: uuid.UUID | None = None
    box: tuple[float, float, float, float] | None = None
    vocabulary: int | None = None
    transcription: uuid.UUID | None = None
    observer_named: str = ""
    source_words: str = ""
    keyed_twice: bool = False
    reason: str = ""
    reason_text: str = ""

    @classmethod
    def read(cls, said: "Item | Mapping[str, Any]") -> "Item":
        """Take an item as an object or as what JSON carries.

        Raises
        ------
        ValidationError
            If a name is not known or a time, a key or a number is none.
        """
        if isinstance(said, Item):
            return said
        unknown = set(said) - {each.name for each in fields(cls)}
        if unknown or not said.get("term"):
            raise ValidationError(
                f"An observation has no {', '.join(sorted(unknown))}."
                if unknown
                else "Nothing says what was asked."
            )
        values = dict(said)
        for name in ("key", "photo", "audio", "transcription"):
            if values.get(name) and not isinstance(values[name], uuid.UUID):
                values[name] = _uuid(values[name], name)
        for name in TIMES:
            if isinstance(values.get(name), str):
                values[name] = _time(values[name], name)
        if values.get("box") is not None:
            values["box"] = tuple(values["box"])
        return cls(**values)

    def digest(self) -> str:
        """Give the digest by which a repeat is told from something else under the same key."""
        content = {
            name: value
            for name, value in asdict(self).items()
            if name != "clock_offset_ms" and (name not in ADDED or value)
        }
        return hashlib.sha256(canonical(content).encode()).hexdigest()


def _uuid(text: Any, name: str) -> uuid.UUID:
    try:
        return uuid.UUID(str(text))
    except ValueError as error:
        raise ValidationError(
            f"{name}: “{text}” is no key; the device makes one of 32 hexadecimal digits."
        ) from error


def _time(text: str, name: str) -> dt.datetime:
    try:
        moment = parse_datetime(text)
    except ValueError:
        moment = None
    if moment is None or moment.tzinfo is None:
        raise ValidationError(f"{name}: “{text}” is no time with its zone, as 2031-03-04T14:10:20+01:00.")
    return moment

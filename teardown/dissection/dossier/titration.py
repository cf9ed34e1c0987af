"""Titrations of a cell, worked out from burette readings each time they are shown; only readings are kept."""

from collections.abc import Iterable, Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass, replace
from typing import Self

from teardown.dissection.models import Dissection, Entry, Sample
from teardown.dissection.rules.cautions import acid_is_offered
from teardown.records.models import Record
from teardown.science.electrolyte.titration import Alkali, Titration, warder
from teardown.science.electrolyte.titration_checks import OUTSIDE_THE_METHOD
from teardown.science.errors import Refusal
from teardown.science.estimate import Estimate

READINGS = {
    "titration.sample_mL": "sample_mL",
    "titration.made_up_mL": "made_up_mL",
    "titration.aliquot_mL": "aliquot_mL",
    "titration.acid_mol_L": "acid_mol_per_L",
    "titration.first_mL": "first_end_mL",
    "titration.second_mL": "second_end_mL",
}
SPOILERS = {"S": "sulfide", "Si": "silicate", "Sn": "stannate", "Zn": "zincate", "B": "borate"}


NORMAL_95 = 1.959963984540054
AGREE = "electrolyte.W003"


@dataclass(frozen=True, slots=True)
class Aliquot:
    """What one aliquot gave by itself, each number with its standard uncertainty."""

    sample: Sample
    found: Alkali

    @property
    def hydroxide(self) -> str:
        """Give mol/L and its standard uncertainty."""
        return _with_u(self.found.hydroxide, 2)

    @property
    def carbonate(self) -> str:
        """Give mol/L and its standard uncertainty."""
        return _with_u(self.found.carbonate, 3)

    @property
    def share(self) -> str:
        """Give how much of the alkali is carbonated, in percent."""
        return f"{100 * self.found.carbonated_share.value:.1f}\u2009%"


def _with_u(found: Estimate, digits: int) -> str:
    u = max(found.high - found.value, found.value - found.low) / NORMAL_95
    return f"{found.value:.{digits}f} ± {u:.{digits}f}"


@dataclass(frozen=True, slots=True)
class Earlier:
    """What a vial gave before one of its readings was amended: the record up to which that held."""

    record: Record
    aliquots: tuple[Aliquot, ...]


@dataclass(frozen=True, slots=True)
class TitrationShown:
    """One vial: its readings, and what follows from them, or why nothing does."""

    samples: tuple[Sample, ...]
    readings: tuple[Entry, ...]
    found: Alkali | None
    refusal: str = ""
    missing: tuple[str, ...] = ()
    aliquots: tuple[Aliquot, ...] = ()
    earlier: tuple[Earlier, ...] = ()

    @property
    def agreement(self) -> str:
        """Say whether the aliquots agree, where there are several."""
        if self.found is None or len(self.aliquots) < 2:
            return ""
        parted = any(remark.code == AGREE for remark in self.found.remarks)
        return "The aliquots do not agree." if parted else f"The {len(self.aliquots)} aliquots agree."


def titrations(dissection: Dissection) -> list[TitrationShown]:
    """Work out each vial; aliquots of one vial are replicates of one solution.

    Where the recipe forbids acid, readings that came from the laboratory's approved route are shown, and the
    remarks say what spoils them.
    """
    readings = _Readings.of(dissection)
    by_vial = readings.by_vial()
    held = [SPOILERS[name] for name in dissection.constituents() if name in SPOILERS]
    shown = [work_out(tuple(said), said, held) for said in by_vial.values()]
    amended = {
        entry.record
        for each in shown
        for entry in each.readings
        if entry.supersedes_id and entry.state != Entry.State.WITHDRAWN
    }
    before = [
        (record, readings.by_vial(record.seq - 1))
        for record in sorted(amended, key=lambda record: record.seq)
    ]
    return [
        replace(each, earlier=tuple(_earlier(each, vial, before)))
        for vial, each in zip(by_vial, shown, strict=True)
    ]


@dataclass(frozen=True, slots=True)
class _Readings:
    """Every reading that was ever said of a cell, and the record by which each was superseded."""

    said: tuple[Entry, ...]
    until: Mapping[int, int]

    @classmethod
    def of(cls, dissection: Dissection) -> Self:
        """Fetch them, however often they were amended: two questions."""
        rows = dissection.entries.filter(term__key__in=READINGS, sample__isnull=False).with_words()
        later = Entry.objects.filter(supersedes__dissection=dissection, supersedes__term__key__in=READINGS)
        # the first of two that supersede the same comes last here, and stays
        until = later.order_by("-record__seq").values_list("supersedes_id", "record__seq")
        return cls(tuple(rows.select_related("sample__parent").order_by("pk")), dict(until))

    def by_vial(self, known_at: int | None = None) -> dict[int, dict[Sample, list[Entry]]]:
        """Give the readings of each vial that count, by aliquot: now, or when the records had come so far."""
        found: dict[int, dict[Sample, list[Entry]]] = {}
        for entry in self.said:
            if entry.sample is not None and self._counts(entry, known_at):
                vial = found.setdefault(entry.sample.parent_id or entry.sample.pk, {})
                vial.setdefault(entry.sample, []).append(entry)
        return found

    def _counts(self, entry: Entry, known_at: int | None) -> bool:
        if entry.state == Entry.State.WITHDRAWN:
            return False
        until = self.until.get(entry.pk)
        if known_at is None:
            return until is None
        return entry.record.seq <= known_at and (until is None or until > known_at)


def _earlier(
    shown: TitrationShown, vial: int, before: Iterable[tuple[Record, dict[int, dict[Sample, list[Entry]]]]]
) -> Iterator[Earlier]:
    """Give what a vial gave before each amendment of one of its own readings."""
    mine = {entry.record for entry in shown.readings if entry.supersedes_id}
    for record, known in before:
        if record in mine and vial in known and (aliquots := _aliquots(known[vial])):
            yield Earlier(record, aliquots)


def _aliquots(readings: Mapping[Sample, list[Entry]]) -> tuple[Aliquot, ...]:
    """Work out each aliquot whose readings are all there, by itself."""
    found = []
    for sample, entries in readings.items():
        run = _run(entries)
        if run is not None:
            with suppress(Refusal):
                found.append(Aliquot(sample, warder(run)))
    return tuple(found)


def _run(entries: Iterable[Entry]) -> Titration | None:
    values = {READINGS[entry.term.key]: entry.value for entry in entries if entry.value is not None}
    return Titration(**values) if len(values) == len(READINGS) else None


def work_out(
    samples: Iterable[Sample], entries: Mapping[Sample, list[Entry]], constituents: list[str]
) -> TitrationShown:
    """Work out one vial from the entries of its aliquots."""
    samples = tuple(samples)
    runs = {sample: _run(entries[sample]) for sample in samples}
    missing = tuple(
        f"{sample}: {len(READINGS) - _read(entries[sample])} of {len(READINGS)} readings are not there yet"
        for sample, run in runs.items()
        if run is None
    )
    shown = TitrationShown(
        samples, tuple(entry for sample in samples for entry in entries[sample]), None, missing=missing
    )
    whole = [run for run in runs.values() if run is not None]
    if not whole:
        return shown
    aliquots = _aliquots(entries)
    try:
        spoilers = [name for name in constituents if name in OUTSIDE_THE_METHOD]
        return replace(shown, found=warder(whole, spoilers), aliquots=aliquots)
    except Refusal as refusal:
        return replace(shown, refusal=str(refusal), aliquots=aliquots)


def _read(entries: Iterable[Entry]) -> int:
    return len({entry.term.key for entry in entries if entry.value is not None})


def acid_offered(dissection: Dissection) -> bool:
    """Tell whether this recipe lets the bench ask for acid readings."""
    return acid_is_offered(dissection.constituents() or None)

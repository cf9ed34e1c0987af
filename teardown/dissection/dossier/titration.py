"""Titrations of a cell, worked out from burette readings each time they are shown; only readings are kept."""

from collections.abc import Iterable
from dataclasses import dataclass

from teardown.dissection.models import Dissection, Entry, Sample
from teardown.dissection.rules.cautions import acid_is_offered
from teardown.science.electrolyte.titration import Alkali, Titration, warder
from teardown.science.electrolyte.titration_checks import OUTSIDE_THE_METHOD
from teardown.science.errors import Refusal

READINGS = {
    "titration.sample_mL": "sample_mL",
    "titration.made_up_mL": "made_up_mL",
    "titration.aliquot_mL": "aliquot_mL",
    "titration.acid_mol_L": "acid_mol_per_L",
    "titration.first_mL": "first_end_mL",
    "titration.second_mL": "second_end_mL",
}
SPOILERS = {"S": "sulfide", "Si": "silicate", "Sn": "stannate", "Zn": "zincate", "B": "borate"}


@dataclass(frozen=True, slots=True)
class TitrationShown:
    """One vial: its readings, and what follows from them, or why nothing does."""

    samples: tuple[Sample, ...]
    readings: tuple[Entry, ...]
    found: Alkali | None
    refusal: str = ""
    missing: tuple[str, ...] = ()


def titrations(dissection: Dissection) -> list[TitrationShown]:
    """Work out each vial; aliquots of one vial are replicates of one solution.

    Where the recipe forbids acid, readings that came from the laboratory's approved route are shown, and the
    remarks say what spoils them.
    """
    rows = dissection.entries.current().filter(term__key__in=READINGS, sample__isnull=False)
    by_sample: dict[Sample, list[Entry]] = {}
    for entry in rows.with_words().select_related("sample__parent").order_by("pk"):
        if entry.sample is not None:
            by_sample.setdefault(entry.sample, []).append(entry)
    by_vial: dict[int, list[Sample]] = {}
    for sample in by_sample:
        by_vial.setdefault(sample.parent_id or sample.pk, []).append(sample)
    held = [SPOILERS[name] for name in dissection.constituents() if name in SPOILERS]
    return [
        work_out(samples, {sample: by_sample[sample] for sample in samples}, held)
        for samples in by_vial.values()
    ]


def work_out(
    samples: Iterable[Sample], entries: dict[Sample, list[Entry]], constituents: list[str]
) -> TitrationShown:
    """Work out one vial from the entries of its aliquots."""
    samples = tuple(samples)
    runs, missing = [], []
    for sample in samples:
        values = {
            READINGS[entry.term.key]: entry.value for entry in entries[sample] if entry.value is not None
        }
        lacking = [name for name in READINGS.values() if name not in values]
        if lacking:
            missing.append(f"{sample}: {len(lacking)} of {len(READINGS)} readings are not there yet")
        else:
            runs.append(Titration(**values))
    readings = tuple(entry for sample in samples for entry in entries[sample])
    if not runs:
        return TitrationShown(samples, readings, None, missing=tuple(missing))
    try:
        spoilers = [name for name in constituents if name in OUTSIDE_THE_METHOD]
        return TitrationShown(samples, readings, warder(runs, spoilers), missing=tuple(missing))
    except Refusal as refusal:
        return TitrationShown(samples, readings, None, str(refusal), tuple(missing))


def acid_offered(dissection: Dissection) -> bool:
    """Tell whether this recipe lets the bench ask for acid readings."""
    return acid_is_offered(dissection.constituents() or None)

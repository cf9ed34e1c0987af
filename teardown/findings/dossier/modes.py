"""Modes: how often each failure mode was found at each level of a factor."""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

from django.db.models import QuerySet

from teardown.cells.models import Cell
from teardown.findings.dossier.factors import FACTORS, UNKNOWN, Known, Place, factors_of, phrase
from teardown.findings.dossier.verdicts import Mode, Verdict, verdicts_of
from teardown.records.models import ChainHead
from teardown.science.estimate import Estimate
from teardown.science.reliability.aliasing import TOGETHER, association, determines
from teardown.science.reliability.rates import (
    bounds_with_undetermined,
    clustered_share,
    share,
    smallest_p,
)

FEWEST = 5
"""Below this many cells only counts are shown."""

ASKED_OFTEN = 0.05


@dataclass(frozen=True, slots=True)
class Question:
    """What Modes was asked: a factor, a mode, which roles and which grades count, and the filter in words."""

    factor: str = "additive"
    mode: str = ""
    contributing: bool = False
    grade: str = "all"
    filtered: str = ""


@dataclass(frozen=True, slots=True)
class Level:
    """One level of a factor, and what became of its cells."""

    name: str
    phrase: str
    built: int
    running: int
    judged: int
    undetermined: int
    artefacts: int
    chambers: tuple[str, ...]
    builds: int
    disputed: int = 0

    @property
    def waiting(self) -> int:
        """Give how many have neither been judged nor are on test."""
        return self.built - self.running - self.judged

    @property
    def told(self) -> int:
        """Give how many count in a rate: judged, told, and not ended by a fault of the laboratory."""
        return self.judged - self.undetermined - self.artefacts


@dataclass(frozen=True, slots=True)
class Rate:
    """How often one mode was found at one level; ``estimate`` is None where only counts may be shown."""

    level: Level
    count: int
    number: int
    undetermined: int
    estimate: Estimate | None
    least: float | None
    most: float | None
    why_not: str = ""


@dataclass(frozen=True, slots=True)
class Row:
    """One mode with its rates over the levels."""

    mode: Mode
    rates: tuple[Rate, ...]

    @property
    def total(self) -> int:
        """Give how often it was found at all."""
        return sum(rate.count for rate in self.rates)


@dataclass(frozen=True)
class Modes:
    """Everything that the page shows."""

    question: Question
    levels: tuple[Level, ...]
    rows: tuple[Row, ...]
    clustered: bool
    least_p: float | None
    together: tuple[str, ...]
    record_seq: int
    level_of: Mapping[int, str]
    ended_by: Mapping[int, str]

    @property
    def factor_words(self) -> str:
        """Give the factor in words."""
        return FACTORS[self.question.factor]

    @cached_property
    def chosen(self) -> Row | None:
        """Give the mode asked for, or the one found most often."""
        asked = [row for row in self.rows if row.mode.key == self.question.mode]
        found = sorted(self.rows, key=lambda row: (-row.total, row.mode.order))
        return next(iter(asked or found), None)

    @property
    def comparisons(self) -> int:
        """Give how many pairs of levels can be compared over all modes."""
        pairs = 0
        for row in self.rows:
            shown = sum(rate.estimate is not None for rate in row.rates)
            pairs += shown * (shown - 1) // 2
        return pairs

    @property
    def by_chance(self) -> float:
        """Give how many of them would look different at this level by chance alone."""
        return ASKED_OFTEN * self.comparisons


def modes_of(cells: QuerySet[Cell], question: Question) -> Modes:
    """Answer a question about failure modes over the cells that fit, in a fixed number of questions."""
    known = factors_of(cells)
    verdicts, modes = verdicts_of(cells, contributing=question.contributing, grade=question.grade)
    of = {cell: levels[question.factor] for cell, levels in known.levels.items()}
    judged = [cell for cell in of if cell in verdicts]
    seated = [cell for cell in judged if known.places.get(cell) and known.places[cell].chamber]
    clustered = (
        question.factor != "chamber"
        and determines([known.places[cell].chamber for cell in seated], [of[cell] for cell in seated])
        and len({of[cell] for cell in seated}) > 1
    )
    names = known.in_order(question.factor, set(of.values()))
    cells_at: dict[str, list[int]] = {name: [] for name in names}
    for cell, name in of.items():
        cells_at[name].append(cell)
    levels = [_level(name, question.factor, known, cells_at[name], verdicts) for name in names]
    tallies = {name: _tally(known, cells_at[name], verdicts) for name in names}
    rows = [
        Row(mode, tuple(_rate(level, mode.key, tallies[level.name], clustered=clustered) for level in levels))
        for mode in sorted(modes.values(), key=lambda mode: mode.order)
    ]
    split = [len(level.chambers) for level in levels if level.judged]
    return Modes(
        question=question,
        levels=tuple(levels),
        rows=tuple(row for row in rows if row.total or row.mode.key == question.mode),
        clustered=clustered,
        least_p=smallest_p(split) if clustered and any(split) else None,
        together=_together(question.factor, known, judged),
        record_seq=ChainHead.objects.values_list("seq", flat=True).get(pk=1),
        level_of=of,
        ended_by=_ended_by(verdicts, modes),
    )


@dataclass(slots=True)
class _Tally:
    """The judged cells of one level, counted once by chamber: told, with each mode, unsure of each mode."""

    told: Counter[str] = field(default_factory=Counter)
    with_mode: Counter[tuple[str, str]] = field(default_factory=Counter)
    unsure: Counter[tuple[str, str]] = field(default_factory=Counter)
    undetermined: int = 0


def _level(name: str, factor: str, known: Known, cells: list[int], verdicts: dict[int, Verdict]) -> Level:
    judged = [cell for cell in cells if cell in verdicts]
    places = [known.places[cell] for cell in judged if cell in known.places]
    return Level(
        name=name,
        phrase=phrase(factor, name),
        built=len(cells),
        running=sum(known.places.get(c, Place()).running and c not in verdicts for c in cells),
        judged=len(judged),
        undetermined=sum(verdicts[cell].undetermined for cell in judged),
        artefacts=sum(verdicts[cell].artefact for cell in judged),
        disputed=sum(verdicts[cell].disputed for cell in judged),
        chambers=tuple(sorted({place.chamber for place in places if place.chamber})),
        builds=len({known.levels[cell]["build"] for cell in judged}),
    )


def _tally(known: Known, cells: list[int], verdicts: dict[int, Verdict]) -> _Tally:
    tally = _Tally()
    for cell in cells:
        verdict = verdicts.get(cell)
        if verdict is None or verdict.artefact:
            continue
        if verdict.undetermined:
            tally.undetermined += 1
            continue
        chamber = known.places.get(cell, Place()).chamber
        tally.told[chamber] += 1
        tally.with_mode.update((mode, chamber) for mode in verdict.modes)
        tally.unsure.update((mode, chamber) for mode in verdict.unsure)
    return tally


def _rate(level: Level, mode: str, tally: _Tally, *, clustered: bool) -> Rate:
    number = {name: told - tally.unsure[mode, name] for name, told in tally.told.items()}
    count = {name: tally.with_mode[mode, name] for name in number}
    k, n = sum(count.values()), sum(number.values())
    unsure = tally.undetermined + tally.told.total() - n
    least, most = bounds_with_undetermined(k, n, unsure) if unsure and n + unsure else (None, None)
    if n < FEWEST:
        return Rate(level, k, n, unsure, None, least, most, "too few to give a rate")
    if not clustered:
        return Rate(level, k, n, unsure, share(k, n), least, most)
    chambers = sorted(name for name, cells in number.items() if name and cells)
    if len(chambers) < 2:
        return Rate(level, k, n, unsure, None, least, most, "all from one chamber, so no interval")
    estimate = clustered_share([count[name] for name in chambers], [number[name] for name in chambers])
    return Rate(level, k, n, unsure, estimate, least, most)


def _ended_by(verdicts: dict[int, Verdict], modes: dict[str, Mode]) -> dict[int, str]:
    """Name the mode that ended each cell: its root; nothing where the laboratory stopped it."""
    words = dict.fromkeys(verdicts, "undetermined")
    for cell, verdict in verdicts.items():
        if verdict.artefact:
            words[cell] = ""
        elif not verdict.undetermined and verdict.root in modes:
            words[cell] = modes[verdict.root].words
    return words


def _together(factor: str, known: Known, judged: list[int]) -> tuple[str, ...]:
    """Name the factors that changed together with the one asked for."""
    own = [known.levels[cell][factor] for cell in judged]
    return tuple(
        words
        for key, words in FACTORS.items()
        if key not in (factor, "recipe", "build")
        and not {factor, key} <= {"additive", "additive_amount"}
        and not {factor, key} <= {"chamber", "temperature"}
        and association(own, [known.levels[cell][key] for cell in judged]) >= TOGETHER
        and len({known.levels[cell][key] for cell in judged} - {UNKNOWN}) > 1
    )

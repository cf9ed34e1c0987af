"""How long cells last at each level of a factor, and by which mode they end; stopped tests count as such."""

from collections.abc import Mapping
from dataclasses import dataclass

from django.db.models import QuerySet

from teardown.cells.models import Cell, Test
from teardown.cycling.models import TestSummary
from teardown.findings.dossier.modes import FEWEST, Modes
from teardown.page.figures import Axis, Curve, Figure, Share, Stack, Stacks
from teardown.page.figures.description import Dash, Style
from teardown.page.typesetting import as_count, fraction_as_percent, number
from teardown.science.reliability.competing import aalen_johansen
from teardown.science.reliability.lifetimes import LogRank, Survival, kaplan_meier, log_rank

UNDETERMINED = "undetermined"
MOST_CURVES = 6
NAMED_MODES = 4
LOOKS: tuple[tuple[Style, Dash], ...] = (
    ("ink", ""), ("accent", ""), ("soft", ""), ("ink", "dashed"), ("accent", "dashed"), ("soft", "dotted"),
)  # fmt: skip
MODE_STYLES: tuple[Style, ...] = ("ink", "oxide", "pore", "metal")


@dataclass(frozen=True, slots=True)
class Life:
    """The life of one cell: cycles, and what ended it ("" for a stopped or running test)."""

    cell: int
    level: str
    cycles: float
    mode: str


@dataclass(frozen=True, slots=True)
class LevelLife:
    """How long the cells of one level lasted."""

    name: str
    phrase: str
    cells: int
    failed: int
    curve: Survival | None

    @property
    def median(self) -> str:
        """Say the cycles that half of the cells reached, with the interval."""
        if self.curve is None:
            return "too few to draw"
        if self.curve.median is None:
            return "more than half still ran when last seen"
        low, high = self.curve.median_interval
        least = number(low, 0) if low is not None else "not reached"
        most = number(high, 0) if high is not None else "not reached"
        return f"{number(self.curve.median, 0)} ({least} to {most})"


@dataclass(frozen=True, slots=True)
class Ended:
    """The share of a level's cells that one mode had ended at the horizon, with its interval."""

    level: str
    mode: str
    share: float
    low: float
    high: float


@dataclass(frozen=True)
class Lives:
    """What the page shows of lives."""

    levels: tuple[LevelLife, ...]
    left_out: int
    compared: LogRank | None
    clustered: bool
    horizon: float
    ended: tuple[Ended, ...]

    @property
    def stacks(self) -> Stacks | None:
        """Draw by which mode the cells of each level had ended at the horizon."""
        total: dict[str, float] = {}
        for each in self.ended:
            if each.mode != UNDETERMINED and each.share:
                total[each.mode] = total.get(each.mode, 0.0) + each.share
        named = sorted(total, key=lambda mode: -total[mode])[:NAMED_MODES]
        if not named:
            return None
        after = f"after {number(self.horizon, 0)} cycles"
        levels = {each.level for each in self.ended}
        return Stacks(
            title=f"By which mode cells had ended {after}",
            description="Shares at one cycle; with the cells still running they add up to one.",
            axis=Axis(f"share of cells {after}", low=0, high=1, percent=True),
            rows=tuple(_stack(level, self.ended, named) for level in self.levels if level.name in levels),
        )

    heads = ("level", "mode", "share", "95 % interval")

    @property
    def numbers(self) -> list[tuple[str, str, str, str]]:
        """Give the shares with their intervals, for the table behind the figure."""
        return [
            (each.level, each.mode, fraction_as_percent(each.share),
             f"{fraction_as_percent(each.low)} to {fraction_as_percent(each.high)}")
            for each in self.ended
        ]  # fmt: skip

    @property
    def figure(self) -> Figure | None:
        """Draw the share of cells still running, one step curve a level."""
        drawn = [level for level in self.levels if level.curve is not None][:MOST_CURVES]
        if not drawn:
            return None
        curves = tuple(_curve(level, *LOOKS[i]) for i, level in enumerate(drawn))
        return Figure(
            title="Cells still running",
            description=self.sentence,
            x=Axis("cycles", low=0, whole=True),
            y=Axis("share still running", low=0, high=1, percent=True),
            curves=curves,
            width=720,
        )

    @property
    def sentence(self) -> str:
        """Say how many cells the curves rest on and how many failed."""
        cells, failed = sum(level.cells for level in self.levels), sum(level.failed for level in self.levels)
        left = (
            f"; {as_count(self.left_out, 'cell')} without a cycling history left out" if self.left_out else ""
        )
        ended = f"{number(failed, 0)} ended by a failure, the others stopped or running"
        return f"{as_count(cells, 'cell')}, {ended}{left}."

    @property
    def test(self) -> str:
        """Say how the curves compare."""
        if self.compared is None or self.compared.degrees == 0:
            return ""
        if self.clustered:
            return "Chambers stand for levels, so no p is given for the curves."
        p = "below 0.001" if self.compared.p < 0.001 else number(self.compared.p, 3)
        return (
            f"Log-rank {number(self.compared.chi_square, 2)} on {self.compared.degrees},"
            f" p {p}; read it with the number of comparisons above."
        )


def lives_of(
    cells: QuerySet[Cell], answer: Modes, levels: Mapping[int, str], modes: Mapping[int, str]
) -> Lives:
    """Gather the lives of the cells that were asked about: two questions.

    Parameters
    ----------
    levels, modes : mapping
        For each cell its level, and the words of the mode that ended it ("" where none holds).
    """
    lives, left_out = _lives(cells, levels, modes)
    rows = []
    for level in answer.levels:
        own = [life for life in lives if life.level == level.name]
        ended = [bool(life.mode) for life in own]
        curve = kaplan_meier([life.cycles for life in own], ended) if len(own) >= FEWEST else None
        rows.append(LevelLife(level.name, level.phrase, len(own), sum(ended), curve))
    shown = {row.name for row in rows if row.curve is not None}
    among = [life for life in lives if life.level in shown]
    compared = (
        log_rank([x.cycles for x in among], [bool(x.mode) for x in among], [x.level for x in among])
        if len(shown) > 1 and any(life.mode for life in among)
        else None
    )
    horizon = _horizon(rows)
    shares = _ended(rows, among, horizon) if horizon else ()
    return Lives(tuple(rows), left_out, compared, answer.clustered, horizon, shares)


def _lives(
    cells: QuerySet[Cell], levels: Mapping[int, str], modes: Mapping[int, str]
) -> tuple[list[Life], int]:
    tests = Test.objects.filter(cell__in=cells).order_by("number")
    last = {cell: (pk, data) for pk, cell, data in tests.values_list("pk", "cell_id", "end__data")}
    counted = dict(
        TestSummary.objects.filter(test__cell__in=cells).order_by("pk").values_list("test_id", "n_cycles")
    )
    lives = []
    for cell, (test, end) in last.items():
        if test in counted and cell in levels:
            failed = end is not None and not end.get("censors")
            mode = modes.get(cell, UNDETERMINED) if failed else ""
            lives.append(Life(cell, levels[cell], float(counted[test]), mode))
    return lives, len(set(last) - {life.cell for life in lives})


def _horizon(rows: list[LevelLife]) -> float:
    """Choose the cycle at which modes are read: the last at which each level drawn still has five cells."""
    ends = [float(row.curve.time[row.curve.at_risk >= FEWEST].max()) for row in rows if row.curve is not None]
    return min(ends, default=0.0)


def _curve(level: LevelLife, style: Style, dash: Dash) -> Curve:
    found = level.curve
    assert found is not None
    keep = found.at_risk >= FEWEST
    time, share, low, high = (values[keep] for values in (found.time, found.survival, found.low, found.high))
    return Curve(
        level.name,
        (0.0, *time.tolist()),
        (1.0, *share.tolist()),
        kind="steps",
        style=style,
        dash=dash,
        low=(1.0, *low.tolist()),
        high=(1.0, *high.tolist()),
    )


def _ended(rows: list[LevelLife], lives: list[Life], horizon: float) -> tuple[Ended, ...]:
    """Work out, for each level drawn, the share of cells that each mode had ended at the horizon."""
    found = []
    for row in rows:
        own = [life for life in lives if life.level == row.name]
        if row.curve is None or not any(life.mode for life in own):
            continue
        numbers = {name: i + 1 for i, name in enumerate(sorted({life.mode for life in own if life.mode}))}
        shares = aalen_johansen([x.cycles for x in own], [numbers[x.mode] if x.mode else 0 for x in own])
        for name, i in numbers.items():
            value, _, low, high = shares.at(horizon, i)
            found.append(Ended(row.name, name, value, low, high))
    return tuple(found)


def _stack(level: LevelLife, ended: tuple[Ended, ...], named: list[str]) -> Stack:
    """Put the shares of a level side by side; with those still running they add up to one."""
    share = {each.mode: each.share for each in ended if each.level == level.name}
    parts = [Share(name, share.pop(name, 0.0), MODE_STYLES[i]) for i, name in enumerate(named)]
    unknown = share.pop(UNDETERMINED, 0.0)
    parts.append(Share("other modes", sum(share.values()), "soft"))
    parts.append(Share(UNDETERMINED, unknown, "accent"))
    parts.append(Share("still running", max(0.0, 1.0 - sum(part.value for part in parts)), "faint"))
    return Stack(level.name, tuple(parts), note=as_count(level.cells, "cell"))

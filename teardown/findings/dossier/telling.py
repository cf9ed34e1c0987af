"""How the answers of Modes are said, drawn and written to a file."""

from teardown import __version__
from teardown.findings.dossier.modes import Modes, Rate, Row
from teardown.page.figures import Axis, Dot, DotPlot
from teardown.page.typesetting import estimate_line, fraction_as_percent, number
from teardown.science.estimate import Estimate
from teardown.science.reliability.rates import newcombe_difference

FEW = 10
"""Below this many cells the dot is hollow."""

HEADS = (
    "mode", "factor", "level", "cells with the mode", "cells told", "undetermined", "share", "low", "high",
    "method", "share if no undetermined cell had it", "share if every undetermined cell had it", "built",
    "on test", "waiting", "left out (test artefact)", "chambers",
)  # fmt: skip


def roles(answer: Modes) -> str:
    """Say which roles count."""
    return "the root or contributed" if answer.question.contributing else "the root"


def stamp(answer: Modes) -> str:
    """Say what the answer was made from: the record it was made at, the release, the filter."""
    return f"record {answer.record_seq}, release {__version__}, {answer.question.filtered or 'no filter'}"


def sentence(answer: Modes) -> str:
    """Say the answer first: where the mode was found most and least often, with counts."""
    row = answer.chosen
    if row is None:
        return "No cell that fits has been judged yet."
    name = row.mode.words[:1].upper() + row.mode.words[1:]
    shown = _by_share(row)
    if not shown:
        few = ", ".join(f"{rate.count} of {rate.number} {rate.level.phrase}" for rate in row.rates)
        return f"{name} was {roles(answer)} in too few cells to give rates: {few}."
    told = [_told(rate) for rate in ([shown[-1], shown[0]] if len(shown) > 1 else shown)]
    return f"{name} was {roles(answer)} in {' and in '.join(told)}."


def difference(answer: Modes) -> str:
    """Compare the two ends, with the interval of the difference; nothing where there is no pair."""
    row = answer.chosen
    shown = _by_share(row) if row else []
    if len(shown) < 2:
        return ""
    few, often = shown[0], shown[-1]
    if answer.clustered:
        return (
            f"Each chamber held one level of {answer.factor_words}: chambers, not cells, are the number here,"
            f" and the smallest p that shuffling them can reach is {answer.least_p:.2g}."
        )
    gap, low, high = (float(x) for x in newcombe_difference(often.count, often.number, few.count, few.number))
    gap_, low_, high_ = (number(100 * value, 0) for value in (gap, low, high))
    points = f"{gap_} points, 95 % interval {low_} to {high_}"
    if low > 0:
        return f"It was seen more often {often.level.phrase} than {few.level.phrase}: {points}."
    return f"Between cells {often.level.phrase} and {few.level.phrase} lie {points}; that may be chance."


def plot(answer: Modes) -> DotPlot | None:
    """Draw the chosen mode over the levels."""
    row = answer.chosen
    if row is None:
        return None
    told = sum(rate.number for rate in row.rates)
    return DotPlot(
        title=f"{row.mode.words}, by {answer.factor_words}",
        description=sentence(answer),
        axis=Axis(f"share of cells in which it was {roles(answer)}", low=0, high=1, percent=True),
        rows=tuple(_dot(rate) for rate in row.rates),
        reference=row.total / told if told else None,
        reference_label="all cells",
    )


def table(answer: Modes) -> list[list[str | int | float]]:
    """Give what is shown as rows, for a file: one a mode and level."""
    return [
        [
            row.mode.words,
            answer.factor_words,
            rate.level.name,
            rate.count,
            rate.number,
            rate.undetermined,
            *_plain(rate.estimate),
            "" if rate.least is None else rate.least,
            "" if rate.most is None else rate.most,
            rate.level.built,
            rate.level.running,
            rate.level.waiting,
            rate.level.artefacts,
            "; ".join(rate.level.chambers),
        ]
        for row in answer.rows
        for rate in row.rates
    ]


def bounds(rate: Rate) -> str:
    """Say what the undetermined cells could make of a share: "25 % to 42 %"."""
    if rate.least is None or rate.most is None:
        return ""
    return f"{fraction_as_percent(rate.least)} to {fraction_as_percent(rate.most)}"


def _by_share(row: Row) -> list[Rate]:
    return sorted(
        (rate for rate in row.rates if rate.estimate is not None), key=lambda rate: rate.count / rate.number
    )


def _told(rate: Rate) -> str:
    assert rate.estimate is not None
    said = estimate_line(rate.estimate, percent=True)
    return f"{rate.count} of {rate.number} cells {rate.level.phrase}, {said}"


def _dot(rate: Rate) -> Dot:
    note = f"{rate.count} of {rate.number}"
    if rate.undetermined:
        note += f" + {rate.undetermined} undetermined"
    if rate.level.waiting:
        note += f" + {rate.level.waiting} waiting"
    found = rate.estimate
    if found is None:
        return Dot(rate.level.name, None, note=f"{note}: {rate.why_not}")
    return Dot(rate.level.name, found.value, found.low, found.high, note=note, hollow=rate.number < FEW)


def _plain(found: Estimate | None) -> list[str | float]:
    return (
        ["", "", "", "counts only"] if found is None else [found.value, found.low, found.high, found.method]
    )

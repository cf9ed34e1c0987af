"""Voltage curves and differential capacity of chosen cycles."""

import re
from dataclasses import dataclass

import numpy as np

from teardown.cycling.dossier.axes import Column, View
from teardown.cycling.dossier.figures import LINES
from teardown.cycling.models import TestSummary
from teardown.cycling.store import Columns, read_curves
from teardown.page.figures import Axis, Curve, Figure, Rule
from teardown.science.electrochemistry.curves import VoltageCurves

MOST = 6
SMOOTH = 5


@dataclass(frozen=True, slots=True)
class Chosen:
    """The chosen cycles and their figures; none where the series must be read again first."""

    cycles: tuple[int, ...]
    voltage: Figure | None
    differential: Figure | None
    unknown: tuple[str, ...] = ()

    @property
    def text(self) -> str:
        """Give the cycles as a person would type them."""
        return ", ".join(map(str, self.cycles))


def usual_choice(columns: Columns, summary: TestSummary | None) -> tuple[int, ...]:
    """Choose first, peak, the one at 80 %, and last."""
    whole = columns["cycle"][columns["complete"] > 0.5]
    if not whole.size:
        return ()
    wanted = [whole[0]]
    if summary is not None:
        wanted += [w for w in (summary.q_ref_cycle, summary.cycles_to_80) if w is not None]
    wanted.append(whole[-1])
    near = [int(whole[np.argmin(np.abs(whole - w))]) for w in wanted]
    return tuple(sorted(set(near)))


def choose(
    text: str, columns: Columns, summary: TestSummary | None
) -> tuple[tuple[int, ...], tuple[str, ...]]:
    """Read cycles as typed; give those that are there, and the words that are not."""
    words = re.findall(r"[^\s,;]+", text)
    if not words:
        return usual_choice(columns, summary), ()
    there = set(columns["cycle"].astype(int).tolist())
    known = [int(w) for w in words if w.isascii() and w.isdigit() and len(w) < 9 and int(w) in there]
    unknown = tuple(
        w[:20] for w in words if not (w.isascii() and w.isdigit() and len(w) < 9 and int(w) in there)
    )
    return tuple(dict.fromkeys(known))[:MOST], unknown[:MOST]


def chosen_curves(
    test: int, key: str, text: str, columns: Columns, summary: TestSummary | None, view: View
) -> Chosen:
    """Draw the voltage curves of chosen cycles."""
    cycles, unknown = choose(text, columns, summary)
    kept = read_curves(test, key)
    if kept is None or not cycles:
        return Chosen(cycles, None, None, unknown)
    places = [int(np.argmax(kept.cycle == c)) for c in cycles]
    plateau = columns["first_plateau_Ah"][[int(np.argmax(columns["cycle"] == c)) for c in cycles]]
    return Chosen(
        cycles,
        _voltage(kept, cycles, places, plateau, view),
        _differential(kept, cycles, places, view),
        unknown,
    )


def _voltage(
    kept: VoltageCurves, cycles: tuple[int, ...], places: list[int], plateau: Column, view: View
) -> Figure:
    share = np.linspace(0, 1, kept.voltage_V.shape[2])
    curves = []
    for (shade, dash), cycle, place in zip(LINES, cycles, places, strict=False):
        for way, words in ((0, "charge"), (1, "discharge")):
            volts = kept.voltage_V[way, place]
            if np.isfinite(volts).all():
                x = share * kept.charge_Ah[way, place] * view.factor
                curves.append(
                    Curve(
                        str(cycle) if way else "",
                        tuple(x.tolist()),
                        tuple(volts.tolist()),
                        style=shade,
                        dash=dash,
                        key=f"cycle:{cycle}",
                        name=f"cycle {cycle}, {words}",
                    )
                )
    known = plateau[np.isfinite(plateau)]
    rules = (Rule(float(known[-1]) * view.factor, "first plateau ends", along="x"),) if known.size else ()
    return Figure(
        "Voltage of chosen cycles",
        f"Voltage against charge of cycles {', '.join(map(str, cycles))}.",
        Axis(f"charge, {view.unit}", low=0.0),
        Axis("voltage, V"),
        tuple(curves),
        rules=rules,
        width=620,
        height=360,
    )


def _differential(kept: VoltageCurves, cycles: tuple[int, ...], places: list[int], view: View) -> Figure:
    """Draw charge per voltage in equal bins, lightly smoothed; charge above the line, discharge below."""
    middle = (kept.edge_V[1:] + kept.edge_V[:-1]) / 2
    width = float(kept.edge_V[1] - kept.edge_V[0])
    curves = []
    for (shade, dash), cycle, place in zip(LINES, cycles, places, strict=False):
        for way, sign in ((0, 1.0), (1, -1.0)):
            height = np.convolve(kept.binned_Ah[way, place], np.ones(SMOOTH) / SMOOTH, mode="same") / width
            held = np.flatnonzero(height > 0)
            if held.size:
                part = slice(int(held[0]), int(held[-1]) + 1)
                y = sign * height[part] * view.factor
                curves.append(
                    Curve(
                        str(cycle) if way else "",
                        tuple(middle[part].tolist()),
                        tuple(y.tolist()),
                        style=shade,
                        dash=dash,
                        key=f"cycle:{cycle}",
                        name=f"cycle {cycle}, {'discharge' if way else 'charge'}",
                    )
                )
    return Figure(
        "Differential capacity of chosen cycles",
        f"Charge per voltage of cycles {', '.join(map(str, cycles))}: charge above zero, discharge below.",
        Axis("voltage, V"),
        Axis(f"dQ/dV, {view.unit} per V"),
        tuple(curves),
        rules=(Rule(0.0),),
        width=620,
        height=360,
    )

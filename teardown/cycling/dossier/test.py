"""One test of a cell: its numbers, its figures, its files and what is to be known of them."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from teardown.cells.models import Test
from teardown.cycling.dossier import figures
from teardown.cycling.dossier.axes import ACROSS, PER, View
from teardown.cycling.dossier.chosen import Chosen, chosen_curves
from teardown.cycling.models import Curves, CyclingFile, TestSummary
from teardown.cycling.store import Columns, unpack
from teardown.files.models import Delivery, Run
from teardown.page.figures import Figure
from teardown.science.electrochemistry.summary import METRICS
from teardown.science.estimate import Estimate

HEADLINE = (
    "q_ref_Ah",
    "retention",
    "coulombic_efficiency",
    "energy_efficiency",
    "fade_per_cycle",
    "knee_cycle",
)
PERCENT = frozenset(
    (
        "retention",
        "coulombic_efficiency",
        "energy_efficiency",
        "voltage_efficiency",
        "utilisation_2e",
        "utilisation_3e",
        "fade_per_cycle",
    )
)
METHOD_OF = {
    "q_ref_Ah": "capacity",
    "coulombic_efficiency": "efficiency",
    "energy_efficiency": "efficiency",
    "fade_per_cycle": "fade",
    "knee_cycle": "knee",
    "cycles_to_80": "cycles_to_80",
    "retention": "capacity",
}
WORDS = {
    "q_ref_Ah": "peak capacity",
    "q_ref_cycle": "cycle of the peak",
    "q_ref_bias_Ah": "bias taken off the peak",
    "q_first_Ah": "first capacity",
    "q_last_Ah": "last capacity",
    "retention": "last over peak",
    "utilisation_2e": "iron used, two electrons",
    "utilisation_3e": "iron used, three electrons",
    "fade_per_cycle": "fade a cycle",
    "fade_per_day": "fade a day",
    "cycles_to_80": "cycles to 80 %",
    "knee_cycle": "knee",
    "knee_onset_cycle": "onset before the knee",
    "loss_Ah": "charge lost",
    "throughput_Ah": "charge given",
    "charge_Ah": "charge taken",
    "rate_h": "usual discharge",
    "rate_classes": "rates",
    "rest_at_end_h": "rest at the end",
    "since_full_charge_Ah": "given since the last charge",
    "duration_h": "length",
    "written_ohm": "resistance as written",
}
STATUS = {
    "reached": "80 % was reached",
    "reached-by-limit": "80 % was reached: the test was ended by its capacity limit",
    "censored-running": "80 % is not reached; the test runs",
    "censored-planned": "80 % was not reached by the planned end",
    "censored-diagnosis": "80 % was not reached when the test was stopped for diagnosis",
    "censored-fault": "80 % was not reached when the lab had a fault",
    "other-failure": "the test was ended by a failure before 80 % was passed",
    "no cycling file": "no cycling file counts for this test",
}


@dataclass(frozen=True, slots=True)
class Shown:
    """One per-cell value with its words, unit and definition."""

    key: str
    words: str
    definition: str
    estimate: Estimate | None
    value: float | None
    unit: str
    percent: bool
    method: str


@dataclass(frozen=True, slots=True)
class TestPage:
    """Everything that the page of one test shows."""

    test: Test
    summary: TestSummary | None
    status: str
    headline: tuple[Shown, ...]
    others: tuple[Shown, ...]
    remarks: tuple[Mapping[str, Any], ...]
    view: View
    capacity: Figure | None
    small: tuple[Figure, ...]
    chosen: Chosen | None
    files: tuple[CyclingFile, ...]
    shown: tuple[Delivery, ...]
    run: Run | None

    @property
    def choices(self) -> tuple[tuple[str, str, str, tuple[tuple[str, str], ...]], ...]:
        """Give what a reader may choose: name, words, what is chosen, and the options."""
        per = tuple(PER.items()) if self.test.cell.iron_mass_g else tuple(PER.items())[:1]
        return (
            ("across", "Against", self.view.across, tuple(ACROSS.items())),
            ("per", "Capacity in", self.view.per, per),
        )

    @property
    def working(self) -> bool:
        """Tell whether a newer summary is on its way."""
        return self.run is not None and self.run.state in (Run.State.QUEUED, Run.State.RUNNING)


def curves_of(test: Test) -> tuple[Curves | None, Columns]:
    """Give the packed curves of a test, unpacked; empty where there are none."""
    packed = Curves.objects.select_related("run").filter(test=test).first()
    return packed, unpack(packed) if packed is not None and packed.n else {}


def test_page(test: Test, query: Mapping[str, str]) -> TestPage:
    """Put the page of one test together. Six queries, however many cycles."""
    packed, columns = curves_of(test)
    summary = TestSummary.objects.filter(test=test).first()
    view = View.asked(query, test.cell.iron_mass_g)
    shown = _shown(summary)
    small = (
        [figures.voltages(columns, view), figures.resistance(columns, view), figures.loss(columns, view)]
        if columns
        else []
    )
    chosen = (
        chosen_curves(test.pk, packed.run.key, query.get("cycles", ""), columns, summary, view)
        if packed and columns
        else None
    )
    return TestPage(
        test=test,
        summary=summary,
        status=STATUS.get(summary.status, summary.status) if summary else "",
        headline=tuple(s for s in shown if s.key in HEADLINE),
        others=tuple(s for s in shown if s.key not in HEADLINE),
        remarks=tuple(summary.problems) if summary else (),
        view=view,
        capacity=figures.capacity(test, columns, summary, view) if columns else None,
        small=tuple(f for f in small if f is not None),
        chosen=chosen,
        files=_files(test),
        shown=_only_shown(test),
        run=Run.objects.filter(function="cycling.summarise", subject=f"cells.test:{test.pk}")
        .order_by("-pk")
        .first(),
    )


def _files(test: Test) -> tuple[CyclingFile, ...]:
    rows = CyclingFile.objects.filter(test=test, withdrawn=False).select_related(
        "receipt__file", "receipt__by", "delivery", "superseded_by"
    )
    return tuple(rows)


def _only_shown(test: Test) -> tuple[Delivery, ...]:
    """Give the imports of a test that nobody has applied or withdrawn yet."""
    rows = Delivery.objects.filter(
        kind="cycling.series", subject=f"cells.test:{test.pk}", state=Delivery.State.SHOWN
    )
    return tuple(rows.select_related("receipt"))


def _shown(summary: TestSummary | None) -> list[Shown]:
    """Read the kept metrics; those that are not known are left out."""
    if summary is None:
        return []
    out = []
    for key, (unit, definition) in METRICS.items():
        kept = summary.metrics.get(key)
        if kept is None or key in ("cycles", "complete_cycles"):
            continue
        found = Estimate(**kept) if isinstance(kept, dict) else None
        words = WORDS.get(key) or _words(key)
        out.append(
            Shown(
                key,
                words,
                definition,
                found,
                None if found else float(kept),
                "" if unit == "1" else unit,
                key in PERCENT,
                METHOD_OF.get(key, ""),
            )
        )
    return out


def _words(key: str) -> str:
    """Turn the key of a metric into words."""
    for ending in ("_Ah", "_Wh", "_V", "_ohm", "_s", "_h", "_C"):
        key = key.removesuffix(ending)
    return key.replace("_", " ")

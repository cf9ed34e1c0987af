"""What the books of a cell hold for its balance, each value with its doubt and where it came from."""

from collections.abc import Iterable
from statistics import mean, stdev
from typing import Any

from teardown.cells.models import Cell, LotUse, RecipePart, Test
from teardown.cycling.models import TestSummary
from teardown.diffraction.models import Fit
from teardown.dissection.models import Entry
from teardown.findings.measure.assumed import Assumed, Books, stated_of
from teardown.findings.measure.powder import powder_of
from teardown.findings.models import Balance, found_in
from teardown.findings.rules import USUAL
from teardown.imaging.models import Review as ImageReview
from teardown.science.balance.inputs import (
    ZERO,
    AsBuilt,
    Handling,
    History,
    Inputs,
    Quantity,
    Recovered,
    Sections,
    State,
    Water,
)
from teardown.science.constants import OXYGEN_G_PER_Ah
from teardown.science.errors import MeasurementError

MOST_AT_REST = 0.2
WEIGHED_U_g = 0.05
IN_AIR = ("dry.how.air", "dry.how.oven")
STATES: dict[str, State] = {
    "electrical.state.charged": "charged",
    "electrical.state.discharged": "discharged",
}


class BooksNotFull(MeasurementError):
    """The books of the cell lack what every balance needs."""

    code = "findings.E001"


def inputs_of(cell: Cell) -> tuple[Inputs, tuple[Assumed, ...]]:
    """Gather the inputs of a balance, and say what was assumed for want of a measurement.

    Raises
    ------
    BooksNotFull
        Naming everything that is missing, and where to enter it.
    """
    books = Books(cell, stated_of(cell))
    entries = _entries(cell)
    test = cell.tests.select_related("end").order_by("-number").first()
    summary = TestSummary.objects.filter(test=test).order_by("-pk").first() if test else None
    fit = _fit(cell)
    missing = _missing(cell, entries, summary, fit)
    if missing:
        raise BooksNotFull(f"The balance of {cell} still needs {'; '.join(missing)}.")
    assert test is not None
    assert summary is not None
    assert fit is not None
    days = _days_at_rest(test, entries)
    inputs = Inputs(
        built=_built(books),
        recovered=_recovered(books, entries, summary, days, test),
        powder=powder_of(books, fit),
        history=_history(books, test, summary),
        sections=_sections(cell),
        water=_water(books, entries, summary),
        handling=Handling(
            dried_in_air=any(
                entry.answer and entry.answer.key in IN_AIR for entry in entries.get("dry.how", [])
            ),
            leaked=bool(test.end and test.end.key == "end.leak"),
            whole_electrode_weighed=_whole(books, entries),
            state_recorded=STATES.get(_said(entries, "electrical.state")),
        ),
        oxide_at_reference=_time_zero(books),
    )
    return inputs, tuple(books.assumed.values())


def _missing(
    cell: Cell, entries: dict[str, list[Entry]], summary: TestSummary | None, fit: Fit | None
) -> list[str]:
    wanted = {
        "the iron mass as built (cell)": cell.iron_mass_g,
        "width and height of the electrode (cell)": cell.electrode_width_mm and cell.electrode_height_mm,
        "the dry mass of the iron electrode (bench)": entries.get("dry.mass_g"),
        "phase fractions (diffraction)": fit,
        "a cycling history with a reference capacity": summary and summary.q_ref_Ah and summary.q_last_Ah,
    }
    return [name for name, value in wanted.items() if not value]


def _entries(cell: Cell) -> dict[str, list[Entry]]:
    found: dict[str, list[Entry]] = {}
    rows = (
        found_in(cell, "entry")
        .current()
        .filter(state="present")
        .select_related("term", "answer", "instrument")
    )
    for row in rows.order_by("pk"):
        found.setdefault(row.term.key, []).append(row)
    return found


def _said(entries: dict[str, list[Entry]], key: str) -> str:
    """Give the latest answer to a question, by its key; empty where none was given."""
    answers = [row.answer.key for row in entries.get(key, []) if row.answer]
    return answers[-1] if answers else ""


def _whole(books: Books, entries: dict[str, list[Entry]]) -> bool:
    """Tell whether the dry mass is that of the whole electrode; nobody said otherwise means that it is."""
    weighed = _said(entries, "dry.weighed")
    if not weighed:
        books.note("weighed", "the whole electrode was weighed, with what fell off")
    return weighed in ("", "dry.weighed.whole")


def _number(books: Books, entries: dict[str, list[Entry]], key: str, usual: str | float) -> Quantity | None:
    """Give the latest reading of a term, with its own doubt, its instrument's, or the usual one."""
    rows = [row for row in entries.get(key, []) if row.value is not None]
    if not rows:
        return None
    row = rows[-1]
    assert row.value is not None
    own = row.u or (row.instrument.u if row.instrument else None)
    if own is None:
        own = books.take(usual).u if isinstance(usual, str) else usual
    return Quantity(row.value, own)


def _built(books: Books) -> AsBuilt:
    cell = books.cell
    assert cell.iron_mass_g is not None
    assert cell.electrode_width_mm is not None
    assert cell.electrode_height_mm is not None
    area = cell.electrode_width_mm * cell.electrode_height_mm / 100
    if cell.inert_mass_g is None:
        books.note("inert", "no binder, carbon or additive was written for the electrode: none was counted")
        density = Quantity(USUAL["inert_density"].value)
    else:
        density = books.take("inert_density", "which look like pore in an image")
    iron_u = cell.iron_mass_u_g or books.take("iron_mass").u
    return AsBuilt(
        iron_powder_g=Quantity(cell.iron_mass_g, iron_u),
        purity=_purity(books),
        inert_g=Quantity(cell.inert_mass_g or 0.0, iron_u if cell.inert_mass_g else 0.0),
        inert_density_g_per_cm3=density.value,
        inert_density_u=density.u,
        area_cm2=Quantity(area, books.take("area").u * area),
    )


def _purity(books: Books) -> Quantity:
    use = LotUse.objects.filter(
        build=books.cell.build_id, role="iron", lot__purity__isnull=False
    ).select_related("lot")
    lot = next((each.lot for each in use), None)
    if lot is None or lot.purity is None:
        return books.take("purity", "since no lot says it")
    return Quantity(lot.purity, lot.purity_u or USUAL["purity"].doubt)


def _recovered(
    books: Books, entries: dict[str, list[Entry]], summary: TestSummary, days: float, test: Test
) -> Recovered:
    dry = _number(books, entries, "dry.mass_g", "dry_mass")
    assert dry is not None
    last = summary.q_last_Ah or 0.0
    in_air = any(row.answer and row.answer.key in IN_AIR for row in entries.get("dry.how", []))
    drying = books.take("drying") if in_air else ZERO
    resting = test.state_at_stop == "discharged" and days >= 1
    converted = books.span("converted") if resting else (0.0, 0.0)
    return Recovered(
        dry_g=dry,
        thickness_um=_thickness(books, entries),
        rest_Ah=_lost_at_rest(books, summary, days),
        drying_Ah=Quantity(drying.value * last, drying.u * last),
        converted=(min(converted[0] * days, 1.0), min(converted[1] * days, 1.0)),
        hydrous=books.take("hydrous").u,
    )


def _lost_at_rest(books: Books, summary: TestSummary, days: float) -> Quantity:
    """Give the charge lost between the end of the test and the opening."""
    last, rate = summary.q_last_Ah or 0.0, _metric(summary, "self_discharge_per_day")
    if rate is None:
        usual = books.take("rest", "since no self-discharge was measured; a fifth at most")
        lost = min(usual.value * days, MOST_AT_REST) * last
        return Quantity(lost, lost * usual.u / usual.value if usual.value else usual.u * days * last)
    lost = min(rate * days, 1.0) * last
    return Quantity(lost, 0.5 * lost)


def _thickness(books: Books, entries: dict[str, list[Entry]]) -> Quantity | None:
    values = [row.value for row in entries.get("iron.thickness_um", []) if row.value]
    if not values:
        return None
    spread = stdev(values) / len(values) ** 0.5 if len(values) > 1 else 0.0
    least = USUAL["thickness"].doubt * mean(values)
    if spread < least or "thickness" in books.stated:
        least = books.take("thickness").u * mean(values)
    return Quantity(mean(values), max(spread, least))


def _days_at_rest(test: Test, entries: dict[str, list[Entry]]) -> float:
    opened = entries.get("opening.opened")
    if not opened or test.ended_at is None:
        return 0.0
    return max((opened[-1].observed_at - test.ended_at).total_seconds() / 86_400, 0.0)


def _fit(cell: Cell) -> Fit | None:
    """Give the latest fit of the cell that nobody rejected."""
    phases = found_in(cell, "phase").exclude(fit__reviews__verdict="reject")
    latest = phases.order_by("-fit_id").values_list("fit_id", flat=True).first()
    return (
        Fit.objects.select_related("pattern").prefetch_related("fractions").get(pk=latest) if latest else None
    )


def _history(books: Books, test: Test, summary: TestSummary) -> History:
    assert summary.q_ref_Ah is not None
    assert summary.q_last_Ah is not None
    reference, last = summary.q_ref_Ah, summary.q_last_Ah
    first_ref, first_last = summary.q_ref_first_plateau_Ah, summary.q_last_first_plateau_Ah
    if first_ref is None or first_last is None:
        books.note(
            "first plateau",
            "the first plateau was not told apart: the whole discharge counts as two electrons an atom",
        )
    told = first_ref is not None and first_last is not None
    three_poles = RecipePart.objects.filter(revision=books.cell.build.revision_id, role="reference").exists()
    charge, discharge = summary.charge_total_Ah or reference, summary.discharge_total_Ah or reference
    net_u = summary.net_u_Ah
    if net_u is None or "channel" in books.stated:
        net_u = books.take("channel").u * charge
    apart = three_poles and told
    plateau_u = USUAL["plateau"].doubt if apart else books.take("plateau").u
    u = books.take("charge").u
    state: dict[str, State] = {"charged": "charged", "discharged": "discharged"}
    return History(
        reference_Ah=Quantity(reference, summary.q_ref_u_Ah or u * reference),
        reference_first_Ah=_share(first_ref if told else reference, u),
        last_Ah=_share(last, u),
        last_first_Ah=_share(first_last if told else last, u),
        charge_total_Ah=_share(charge, u),
        net_charge_Ah=Quantity(charge - discharge, net_u),
        state=state.get(test.state_at_stop),
        reference_electrode=apart,
        plateau_u=plateau_u,
    )


def _share(charge_Ah: float | None, u: float) -> Quantity:
    value = charge_Ah or 0.0
    return Quantity(value, u * value)


def _metric(summary: TestSummary, name: str) -> float | None:
    found = summary.metrics.get(name)
    value = found.get("value") if isinstance(found, dict) else found
    return float(value) if value is not None else None


def _sections(cell: Cell) -> Sections | None:
    """Pool what the samples gave, sample as the unit; one that covers the whole part comes first."""
    rejected = ImageReview.objects.filter(verdict="reject").values("run")
    rows = list(found_in(cell, "sample_measure").exclude(run__in=rejected).order_by("-pk"))
    porosity, oxide = (_pooled(rows, quantity) for quantity in ("porosity", "oxide_fraction"))
    if porosity is None and oxide is None:
        return None
    return Sections(
        porosity and porosity[0],
        oxide and oxide[0],
        max(found[1] for found in (porosity, oxide) if found),
    )


def _pooled(rows: Iterable[Any], quantity: str) -> tuple[Quantity, int] | None:
    latest: dict[tuple[Any, Any], Any] = {}
    for row in rows:
        if row.quantity == quantity:
            latest.setdefault((row.part_id, row.sample_id), row)
    whole = [row for row in latest.values() if row.part_id]
    if whole:
        return Quantity(whole[0].value, (whole[0].high - whole[0].low) / 2 / 1.96), whole[0].n
    each = list(latest.values())
    if not each:
        return None
    own = mean((row.high - row.low) / 2 / 1.96 for row in each) / len(each) ** 0.5
    spread = stdev(row.value for row in each) / len(each) ** 0.5 if len(each) > 1 else 0.0
    return Quantity(mean(row.value for row in each), max(own, spread)), len(each)


def _water(books: Books, entries: dict[str, list[Entry]], summary: TestSummary) -> Water | None:
    received = _number(books, entries, "mass.cleaned_g", WEIGHED_U_g) or _number(
        books, entries, "mass.received_g", WEIGHED_U_g
    )
    built = books.cell.build_mass_g
    if received is None or built is None:
        return None
    books.note(
        "water", "no water was added and no carbonate formed but what was entered; cells weighed to 50 mg"
    )
    net_discharge = (summary.discharge_total_Ah or 0.0) - (summary.charge_total_Ah or 0.0)
    u = (received.u**2 + WEIGHED_U_g**2 + (OXYGEN_G_PER_Ah * (summary.net_u_Ah or 0.0)) ** 2) ** 0.5
    return Water(Quantity(built - received.value + OXYGEN_G_PER_Ah * net_discharge, u), weighed=True)


def _time_zero(books: Books) -> Quantity | None:
    """Give what time-zero cells of the same recipe tell: the share of unreached iron that was oxide then."""
    cell = books.cell
    twins = Balance.objects.filter(
        cell__time_zero=True, cell__build__revision__recipe=cell.build.revision.recipe_id
    ).exclude(cell=cell)
    found = {}
    for row in twins.order_by("-pk"):
        values = {each["key"]: each for each in row.rows if each.get("kind") == "quantity"}
        if row.cell_id not in found and {"locked_share", "reached_share"} <= set(values):
            unreached = 1 - values["reached_share"]["value"]
            share = values["locked_share"]["value"] / unreached if unreached > 0 else 0.0
            half = (values["locked_share"]["high"] - values["locked_share"]["low"]) / 2 / 1.96
            found[row.cell_id] = (min(max(share, 0.0), 1.0), half / unreached if unreached > 0 else 0.5)
    if not found:
        return None
    shares = [share for share, _ in found.values()]
    spread = stdev(shares) / len(shares) ** 0.5 if len(shares) > 2 else 0.0
    return Quantity(mean(shares), max(spread, mean(u for _, u in found.values()) / len(shares) ** 0.5))

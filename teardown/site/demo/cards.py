"""What is said at the bench, card by card, when an invented cell is opened."""

from collections.abc import Iterator
from typing import Any

from teardown.cells.models import Cell
from teardown.site.demo.lives import Story
from teardown.site.demo.traces import Seen, Traces, seen_of, traces_of


def cards_of(story: Story, cell: Cell, *, whole: bool) -> Iterator[tuple[float, list[dict[str, Any]]]]:
    """Give what is said card by card, with the minutes since opening."""
    chance, own, seen = story.rng("cards"), traces_of(story), seen_of(story)
    masses = _masses(story, cell, own)

    def look(*terms: str, **more: Any) -> list[dict[str, Any]]:
        return [_said(seen[term]) | more for term in terms if term in seen]

    comma = story.rng("comma").random() < 0.4

    def number(value: float, digits: int) -> str:
        text = f"{value:.{digits}f}"
        return text.replace(".", ",") if comma else text

    yield -30, [
        {"term": "arrival.identity", "answer": "agree"},
        {"term": "arrival.condition", "answer": "crystals_outside" if story.root == "leak" else "intact"},
        {"term": "arrival.orientation", "answer": "upright"},
        *look("arrival.crust", "leak.seal", "leak.terminals"),
        {"term": "mass.received_g", "value": number(masses["received"], 3), "instrument": "BAL-2", "confirmed_unusual": True},
        {"term": "electrical.rest_V", "value": number(0.02 if story.root == "short" else float(chance.uniform(0.7, 1.0)), 3), "instrument": "DMM-3", "confirmed_unusual": True},
    ]  # fmt: skip
    yield (
        -2,
        [
            {"term": "place.atmosphere", "answer": "air"},
            {"term": "electrolyte.tare_g", "value": number(masses["tare"], 3), "instrument": "BAL-2"},
            {"term": "policy.chosen", "answer": "as_it_stands"},
        ],
    )
    yield (
        1,
        [
            {"term": "opening.method", "answer": "unscrewed"},
            *look("opening.gas", "opening.smell", "opening.bubbling"),
        ],
    )
    yield 3, [
        {"term": "electrolyte.method", "answer": "pipetted"},
        {"term": "electrolyte.gross_g", "value": number(masses["tare"] + masses["electrolyte"], 3), "instrument": "BAL-2"},
        {"term": "electrolyte.colour", "answer": own.electrolyte, "certainty": "sure"},
        {"term": "electrolyte.clarity", "answer": "particles" if own.sediment_mg > 50 else "clear"},
    ]  # fmt: skip
    places = [f"{face}.{row}{column}" for face in "AB" for row in "TMB" for column in "123"]
    yield 7, [
        {"term": "iron.colour", "answer": own.colour if chance.random() < 0.85 else "dark_grey", "place": place, "certainty": "sure"}
        for place in places[:: 1 if chance.random() < 0.25 else 3]
    ]  # fmt: skip
    if not whole:
        return
    yield (
        10,
        [
            {"term": "iron.texture", "answer": own.texture, "place": "A.M2"},
            {
                "term": "iron.cover",
                "state": "present",
                "extent": own.cover,
                "place": "A.M2",
                "certainty": "think so",
            },
            {"term": "iron.cover", "state": "cannot tell", "place": "B.B3"},
            {"term": "iron.adhesion", "answer": own.adhesion, "place": "A.M2"},
            {"term": "iron.shape", "answer": own.shape},
            *look("iron.shed", "iron.film_green", "iron.mesh_bare"),
        ],
    )
    thickness = (cell.electrode_thickness_um or 800) * (1 + own.thicker)
    yield 13, [
        {"term": "iron.thickness_um", "value": f"{thickness * float(chance.normal(1, 0.012)):.0f}", "place": place, "instrument": "MIC-1", "confirmed_unusual": True}
        for place in ("A.T2", "A.M1", "A.M2", "A.M3", "A.B2")
    ]  # fmt: skip
    yield (
        18,
        look("separator.state", "separator.stain", "separator.growth", "separator.deposit", "separator.gas"),
    )
    yield 20, look("collector.look", "tab.look")
    yield 24, look("air.gas_side", "air.wet_side", "air.crust", "air.catalyst_lost", place="whole")
    yield 28, look("seal.look", "vent.look", "sediment.kind")
    yield 35, [
        *(
            {"term": "part.mass_g", "value": number(masses[part], 3), "component": part, "instrument": "BAL-2"}
            for part in ("iron_electrode", "separator", "air_electrode", "case")
        ),
        {"term": "electrolyte.blots_g", "value": number(masses["blots"], 3), "instrument": "BAL-2"},
        {"term": "sediment.mass_mg", "value": f"{own.sediment_mg * float(chance.uniform(0.8, 1.2)):.1f}", "instrument": ""},
    ]  # fmt: skip
    yield 50, [
        {"term": "electrolyte.temperature_C", "value": number(21.4 + float(chance.normal(0, 0.6)), 1)},
        {"term": "electrolyte.density", "value": number(_density(story, own), 4), "instrument": "DEN-1"},
        {"term": "electrolyte.conductivity", "value": number(0.55 * float(chance.normal(1, 0.02)) * (1 - 1.2 * own.carbonate), 3), "instrument": "CON-1"},
    ]  # fmt: skip
    warm = chance.random() < 0.12
    yield 75, [
        {"term": "rinse.unrinsed_kept", "state": "present"},
        {"term": "rinse.liquid", "answer": "deoxygenated"},
        {"term": "rinse.baths", "value": "3"},
        {"term": "rinse.second", "answer": "ethanol"},
        {"term": "dry.how", "answer": "vacuum"},
        {"term": "warm.noticed", "answer": "warm"} if warm else {"term": "warm.noticed", "state": "absent"},
        {"term": "warm.temperature_C", "value": number(33.5 if warm else 22.0 + float(chance.normal(0, 0.5)), 1), "instrument": "IRT-1"},
    ]  # fmt: skip


def _said(seen: Seen) -> dict[str, Any]:
    term, what, extent = seen
    if what in {"present", "absent"}:
        return {"term": term, "state": what} | ({"extent": extent} if extent else {})
    return {"term": term, "answer": what}


def _masses(story: Story, cell: Cell, own: Traces) -> dict[str, float]:
    """Weigh the parts so that they come to what was received, but for what stayed in tissue and on gloves."""
    chance = story.rng("masses")
    received = (cell.build_mass_g or 41.6) - own.lost_g * float(chance.uniform(0.7, 1.3))
    iron = (cell.iron_mass_g or 1.188) * 1.28 + 0.41 + 0.42
    masses = {
        "received": received,
        "tare": float(chance.uniform(11.8, 12.4)),
        "electrolyte": 9.6 - own.lost_g + float(chance.normal(0, 0.15)),
        "iron_electrode": iron - own.sediment_mg / 1000,
        "separator": 0.86 + float(chance.normal(0, 0.02)),
        "air_electrode": 2.9 + float(chance.normal(0, 0.05)),
        "blots": 0.31 + float(chance.normal(0, 0.03)),
    }
    parts = sum(
        masses[name] for name in ("electrolyte", "iron_electrode", "separator", "air_electrode", "blots")
    )
    lost = 0.06 if chance.random() < 0.9 else 1.3
    masses["case"] = received - parts - own.sediment_mg / 1000 - lost
    return masses


def _density(story: Story, own: Traces) -> float:
    """Give the density of the electrolyte near 21 degC, roughly, with more salt where it carbonated."""
    chance = story.rng("density")
    return 1.0 + 0.0425 * story.formula.KOH_mol_L + 0.2 * own.carbonate + float(chance.normal(0, 0.002))

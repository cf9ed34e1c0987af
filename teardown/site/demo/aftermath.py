"""Tells what became of an opened cell: samples, mounts, sections, titration, dry mass, second thoughts."""

import datetime as dt
from typing import Any

from teardown.cells.models import Cell
from teardown.dissection import actions as bench
from teardown.dissection.models import Dissection, Entry, Order, Sample
from teardown.dissection.rules.codes import ALPHABET, LENGTH, with_check
from teardown.site.demo.clock import Clock
from teardown.site.demo.compositions import dry_mass_g
from teardown.site.demo.lab import Lab
from teardown.site.demo.lives import Story
from teardown.site.demo.openings import hands
from teardown.site.demo.traces import traces_of


def code_for(story: Story, what: str) -> str:
    """Make the code of a sample, the same each time the laboratory is invented."""
    chance = story.rng(f"code {what}")
    return with_check("".join(ALPHABET[int(n)] for n in chance.integers(0, len(ALPHABET), LENGTH)))


def second_sample(story: Story) -> bool:
    """Tell whether a second piece was cut for the microscope, at the top."""
    return bool(story.rng("second sample").random() < 0.12)


def broken_in_mount(story: Story) -> bool:
    """Tell whether the pieces of a cell broke when they were mounted: it has no section."""
    return bool(story.number > 12 and story.rng("mount").random() < 0.18)


def cut(lab: Lab, story: Story, clock: Clock) -> dict[str, Sample]:
    """Tell of the samples of an opened cell, where they went, and what they were sent for."""
    assert story.opened is not None
    hand, _ = hands(lab, story)
    dissection = Dissection.objects.get(cell__code=story.code)
    clock.set(story.opened + dt.timedelta(minutes=95))
    electrode, piece = "iron_electrode", {"size_mm": "5 x 8"}
    rows: list[tuple[str, str, str, str, dict[str, Any]]] = [
        ("section", electrode, "M2", "coverage and pores", piece | {"face_up": "A", "rinsed": True}),
        (
            "diffraction",
            electrode,
            "whole",
            "phases",
            {"mass_mg": 420.0, "rinsed": True, "container": "vial"},
        ),
        ("archive", electrode, "B2", "archive", piece | {"rinsed": False}),
        ("titration", "electrolyte", "", "carbonate", {"container": "vial"}),
    ]
    if second_sample(story):
        rows.append(
            ("section", "iron_electrode", "T2", "coverage at the top", {"size_mm": "5 x 8", "face_up": "A"})
        )
    samples = {}
    for technique, component, place, purpose, facts in rows:
        name = f"{technique} {place}"
        sample = bench.cut_sample(
            by=hand, dissection=dissection, component=component, place=place, purpose=purpose,
            code=code_for(story, name), **facts,
        )  # fmt: skip
        bench.hand_over(
            sample=sample, by=hand, to_place="desiccator 1" if component == "iron_electrode" else "shelf 3"
        )
        bench.send_orders(samples=[sample], technique=technique, by=hand)
        samples[name] = sample
    return samples


def mount_and_polish(lab: Lab, story: Story, clock: Clock) -> None:
    """Tell of the mounts and sections of a cell's samples."""
    assert story.opened is not None
    microscopist, chance = lab.people["microscopist"], story.rng("mount")
    samples = Sample.objects.filter(
        part__dissection__cell__code=story.code, orders__technique__key="technique.section"
    )
    if broken_in_mount(story):
        for order in Order.objects.filter(sample__in=samples, technique__key="technique.section"):
            bench.receive_order(
                order=order, by=microscopist, state=Order.State.NOTHING, note="crumbled in the mount"
            )
        return
    for sample in samples.order_by("pk"):
        clock.set(story.opened + dt.timedelta(days=1, hours=2))
        bench.hand_over(sample=sample, by=microscopist, to_person=microscopist)
        mount = bench.mount_samples(
            samples=[(sample, "across, air face up")], by=microscopist,
            resin="epoxy, slow", resin_batch="E-44", vacuum_mbar=30.0, cure_C=40.0, cure_h=24.0,
        )  # fmt: skip
        clock.set(story.opened + dt.timedelta(days=2, hours=3))
        worn = chance.random() < 0.1
        bench.polish(
            mount=mount, by=microscopist, depth_removed_um=float(round(chance.uniform(180, 320))),
            stages=[
                {"abrasive": "silicon carbide", "size_um": 15, "lubricant": "ethanol", "minutes": 4},
                {"abrasive": "diamond", "size_um": 3, "lubricant": "ethanol", "minutes": 6},
                {"abrasive": "diamond", "size_um": 1, "lubricant": "ethanol", "minutes": 6},
            ],
            artefacts=["scratches"] if worn else [],
        )  # fmt: skip


def titrate(lab: Lab, story: Story, clock: Clock) -> None:
    """Tell of the titration of the electrolyte; for some it was never done, and that is said."""
    assert story.opened is not None
    hand, _ = hands(lab, story)
    chance, own = story.rng("titration"), traces_of(story)
    dissection = Dissection.objects.get(cell__code=story.code)
    order = Order.objects.get(sample__part__dissection=dissection, technique__key="technique.titration")
    clock.set(story.opened + dt.timedelta(days=3, hours=1))
    if chance.random() < 0.15:
        bench.receive_order(order=order, by=hand, state=Order.State.NOTHING, note="vial was left open")
        return
    potassium = story.formula.KOH_mol_L * float(chance.normal(0.985, 0.01))
    carbonate = own.carbonate * float(chance.uniform(0.8, 1.2)) * potassium / 2
    hydroxide = potassium - 2 * carbonate
    readings = [
        ("titration.sample_mL", 1.0, 3),
        ("titration.made_up_mL", 100.0, 1),
        ("titration.aliquot_mL", 10.0, 2),
        ("titration.acid_mol_L", 0.1, 4),
        ("titration.first_mL", hydroxide + carbonate, 2),
        ("titration.second_mL", hydroxide + 2 * carbonate, 2),
    ]  # fmt: skip
    items: list[dict[str, Any]] = [
        {"term": term, "value": f"{value:.{digits}f}", "sample": order.sample.code}
        for term, value, digits in readings
    ]
    if "sulfide" in story.formula.additive:
        route = "the laboratory's approved route for sulfide electrolytes, sheet 12"
        items.append({"term": "titration.route", "value": route, "sample": order.sample.code})
    outcomes = bench.log_entries(dissection=dissection, items=items, by=hand)
    assert all(outcome.kept for outcome in outcomes), [outcome.sentences for outcome in outcomes]
    bench.receive_order(order=order, by=hand)


def amend(lab: Lab, story: Story, clock: Clock) -> None:
    """Tell of second thoughts: a slip, a doubled line, something seen later on a photograph."""
    assert story.opened is not None
    hand, other = hands(lab, story)
    dissection, chance = Dissection.objects.get(cell__code=story.code), story.rng("amend")
    clock.set(story.opened + dt.timedelta(days=1, hours=5))
    entries = dissection.entries.current()
    if chance.random() < 0.3:
        slip = entries.filter(term__key="part.mass_g", part__component__key="component.separator").first()
        if slip is not None and slip.value is not None:
            bench.amend(
                entry=slip,
                by=hand,
                reason="misread",
                reason_text="Tare not subtracted.",
                value=f"{slip.value - 0.012:.3f}",
            )
    if chance.random() < 0.15:
        doubled = entries.filter(term__key="iron.colour").last()
        if doubled is not None:
            bench.withdraw(entry=doubled, by=hand, reason="duplicated")
    late = chance.random() < 0.2
    picture = dissection.photographs.filter(step="iron").first() if late else None
    if picture is not None:
        clock.set(story.opened + dt.timedelta(days=6))
        bench.log_entry(
            dissection=dissection, term="iron.finding", answer="crack_surface", place="A.T2", by=other,
            source=Entry.Source.PHOTO, photo=picture.key, box=(0.42, 0.2, 0.56, 0.34), certainty="think so",
        )  # fmt: skip


def weigh_dry(lab: Lab, story: Story, clock: Clock) -> None:
    """Tell of the dry mass of the plate, weighed the day after."""
    assert story.opened is not None
    hand, _ = hands(lab, story)
    cell, own = Cell.objects.get(code=story.code), traces_of(story)
    dissection = Dissection.objects.get(cell=cell)
    clock.set(story.opened + dt.timedelta(days=1, hours=1))
    mass = dry_mass_g(
        story,
        iron_g=cell.iron_mass_g or 1.188,
        inert_g=cell.inert_mass_g or 0.1,
        shed_g=own.sediment_mg / 1000,
    )
    bench.log_entries(
        dissection=dissection,
        by=hand,
        items=[
            {"term": "dry.hours", "value": "16"},
            {"term": "dry.mass_g", "value": f"{mass:.4f}", "instrument": "BAL-2", "confirmed_unusual": True},
            {"term": "dry.weighed", "answer": "whole"},
            {"term": "iron.magnet", "answer": "strong"},
        ],
    )

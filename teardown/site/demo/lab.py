"""Founds the invented laboratory: its people, materials, recipes, protocols, chambers and instruments."""

import datetime as dt
from dataclasses import dataclass, field
from typing import Any

from django.db import transaction

from teardown.accounts.actions import set_pin, welcome
from teardown.accounts.models import User
from teardown.cells.actions import (
    Part,
    add_chamber,
    add_channel,
    add_lot,
    add_material,
    add_protocol,
    add_recipe,
    revise_protocol,
    revise_recipe,
    state_accuracy,
)
from teardown.cells.models import (
    Channel,
    Lot,
    Material,
    Position,
    ProtocolRevision,
    Recipe,
    RecipePart,
    RecipeRevision,
)
from teardown.dissection.actions.bench_time import set_bench_hours
from teardown.dissection.models import Check, Instrument
from teardown.records.actions import record
from teardown.site.demo.lives import CHAMBERS, FORMULAS, NOT_SCRUBBED, PLACES, REGIMES, REVISED, Formula

PASSWORD = "invented-skerry-2031"  # noqa: S105 - printed when the demo starts; it opens invented data alone
PIN = "2468"
NAME = "Skerry Point Laboratory (invented)"
PEOPLE = {
    "administrator": ("Administrator", ["administrator"]),
    "lead": ("Lab lead", ["lead"]),
    "chemist": ("Chemist", ["bench"]),
    "second": ("Second chemist", ["bench"]),
    "microscopist": ("Microscopist", ["operator"]),
    "analyst": ("Analyst", ["analyst"]),
    "reviewer": ("Reviewer", ["reviewer"]),
    "guest": ("Guest", ["guest"]),
}
MATERIALS = [
    # name, kind, formula, what a caution must know, purity of its lots
    ("carbonyl iron", "iron", "Fe", ["Fe"], 0.995),
    ("reduced magnetite", "iron", "Fe", ["Fe"], 0.962),
    ("atomised iron", "iron", "Fe", ["Fe"], 0.988),
    ("bismuth sulfide", "additive", "Bi2S3", ["Bi", "S"], 0.99),
    ("bismuth oxide", "additive", "Bi2O3", ["Bi"], 0.995),
    ("iron sulfide", "additive", "FeS", ["Fe", "S"], 0.98),
    ("zinc sulfide", "additive", "ZnS", ["Zn", "S"], 0.99),
    ("potassium hydroxide", "alkali", "KOH", ["K"], 0.86),
    ("lithium hydroxide", "electrolyte additive", "LiOH", ["Li"], 0.98),
    ("polyethylene binder", "binder", "", [], None),
    ("acetylene black", "conductive", "C", ["C"], None),
    ("nickel mesh collector", "collector", "Ni", ["Ni"], None),
    ("nonwoven separator", "separator", "", [], None),
    ("nickel mesh air electrode", "air electrode", "", ["Ni", "Co", "F"], None),
    ("carbon felt air electrode", "air electrode", "", ["C", "Mn", "F"], None),
]
INSTRUMENTS = [
    ("BAL-2", "balance", "mass", "g", 0.0003),
    ("CAL-1", "caliper", "length", "mm", 0.02),
    ("MIC-1", "thickness gauge", "thickness", "µm", 3.0),
    ("DMM-3", "voltmeter", "voltage", "V", 0.0005),
    ("DEN-1", "density meter", "density", "g/mL", 0.0005),
    ("CON-1", "conductivity cell", "conductivity", "S/cm", 0.004),
    ("BUR-2", "burette", "volume", "mL", 0.02),
    ("IRT-1", "infrared thermometer", "temperature", "°C", 1.0),
]
BECAUSE = {
    "R03": "Binder raised: electrodes of build B103 crumbled at the edge when they were cut.",
    "R05": "Binder raised after the first cells shed iron into the separator.",
}


@dataclass
class Lab:
    """What the founding made, by the names that the rest of the telling uses."""

    people: dict[str, User] = field(default_factory=dict)
    lots: dict[str, list[Lot]] = field(default_factory=dict)
    revisions: dict[tuple[str, int], RecipeRevision] = field(default_factory=dict)
    protocols: dict[str, ProtocolRevision] = field(default_factory=dict)
    positions: dict[str, list[Position]] = field(default_factory=dict)
    channels: dict[int, Channel] = field(default_factory=dict)
    sat: dict[int, dt.datetime] = field(default_factory=dict)

    def lot(self, material: str, on: dt.date) -> Lot:
        """Give the delivery of a material that was in use on a day."""
        known = [lot for lot in self.lots[material] if lot.received_on is None or lot.received_on <= on]
        return (known or self.lots[material])[-1]

    def free_place(self, chamber: str, since: dt.datetime, until: dt.datetime) -> tuple[Position, Channel]:
        """Give a place of a chamber that is free, with its channel, and take it."""
        for position in self.positions[chamber]:
            if self.sat.get(position.pk, since) <= since:
                self.sat[position.pk] = until
                return position, self.channels[position.pk]
        raise LookupError(f"chamber {chamber} has no free place on {since:%d %B %Y}")


def found(*, begins: dt.date, cells: int) -> Lab:
    """Found the laboratory, on a day before its first build."""
    lab = Lab()
    with transaction.atomic():
        _welcome_people(lab)
        materials = _buy_materials(lab, begins)
        _write_recipes(lab, materials)
        _write_protocols(lab)
        _set_up_chambers(lab, begins, places=min(PLACES, max(4, cells // 3)))
        _check_instruments(lab, begins)
        set_bench_hours(hours_a_day=6, hours_a_cell=3.5, since=begins, by=lab.people["lead"])
    return lab


def find() -> Lab:
    """Find what the founding made, in a laboratory that stands already."""
    lab = Lab(people={user.username: user for user in User.objects.filter(username__in=PEOPLE)})
    for revision in RecipeRevision.objects.select_related("recipe"):
        lab.revisions[revision.recipe.code, revision.number] = revision
    return lab


def _welcome_people(lab: Lab) -> None:
    for username, (name, roles) in PEOPLE.items():
        user = welcome(username=username, name=name, password=PASSWORD, roles=roles, by=None)
        lab.people[username] = user
        if {"bench", "lead"} & set(roles):
            set_pin(user=user, pin=PIN)


def _buy_materials(lab: Lab, begins: dt.date) -> dict[str, Material]:
    lead, materials = lab.people["lead"], {}
    for name, kind, formula, constituents, purity in MATERIALS:
        material = add_material(name=name, kind=kind, formula=formula, constituents=constituents, by=lead)
        materials[name] = material
        letters = "".join(word[0] for word in name.split()).upper()
        lab.lots[name] = [
            add_lot(
                material=material,
                code=f"{letters}-{number}",
                received_on=begins + dt.timedelta(days=days),
                purity=None if purity is None else round(purity - 0.002 * number, 4),
                purity_u=None if purity is None else 0.003,
                by=lead,
            )
            for number, days in enumerate((-20, 330, 610), start=1)
        ]
    return materials


def parts_of(formula: Formula, materials: dict[str, Material], *, binder: float) -> list[Part]:
    """Write a formula as the parts of a recipe."""
    parts = [
        Part("iron", materials[formula.iron], 1.2, "g", "cell"),
        Part("binder", materials["polyethylene binder"], binder, "1", "electrode"),
        Part("conductive", materials["acetylene black"], 0.02, "1", "electrode"),
        Part("alkali", materials["potassium hydroxide"], formula.KOH_mol_L, "mol/L", "electrolyte"),
        Part("collector", materials["nickel mesh collector"], 1, "piece", "cell"),
        Part("separator", materials["nonwoven separator"], 2, "piece", "cell"),
        Part("air electrode", materials[formula.air_electrode], 1, "piece", "cell"),
    ]
    if formula.share:
        parts.insert(1, Part("additive", materials[formula.additive], formula.share, "1", "iron"))
    if formula.LiOH_mol_L:
        lithium = materials["lithium hydroxide"]
        parts.append(Part("electrolyte additive", lithium, formula.LiOH_mol_L, "mol/L", "electrolyte"))
    return parts


def title_of(formula: Formula) -> str:
    """Say a formula in words."""
    additive = (
        f"{formula.share:.0%} {formula.additive}".replace("%", " %") if formula.share else "no additive"
    )
    lithium = " with lithium hydroxide" if formula.LiOH_mol_L else ""
    title = f"{formula.iron}, {additive}, {formula.KOH_mol_L:g} mol/L{lithium}"
    return title[0].upper() + title[1:]


def _write_recipes(lab: Lab, materials: dict[str, Material]) -> None:
    analyst = lab.people["analyst"]
    for formula in FORMULAS:
        parts = parts_of(formula, materials, binder=0.06)
        first = add_recipe(code=formula.code, title=title_of(formula), parts=parts, by=analyst)
        lab.revisions[formula.code, 1] = first


def revise(lab: Lab, formula: Formula) -> None:
    """Revise a recipe, with the reason, the first time that it is asked for."""
    if (formula.code, 2) in lab.revisions or formula.code not in REVISED:
        return
    recipe = Recipe.objects.get(code=formula.code)
    rows = RecipePart.objects.filter(revision=lab.revisions[formula.code, 1]).select_related("material")
    parts = [
        Part(row.role, row.material, 0.08 if row.role == "binder" else row.amount, row.unit, row.basis)
        for row in rows
    ]
    lab.revisions[formula.code, 2] = revise_recipe(
        recipe=recipe, parts=parts, because=BECAUSE[formula.code], by=lab.people["analyst"]
    )


def _write_protocols(lab: Lab) -> None:
    lead = lab.people["lead"]
    common: dict[str, Any] = {"capacity_limit": 0.6, "discharge_limit_V": 0.35, "begins_with": "charge"}
    tidal, steady, long = REGIMES
    lab.protocols["tidal"] = add_protocol(
        code="tidal", title="Half a tide to charge, half a tide to discharge", by=lead,
        words="As the tidal store would run it: 6.2 h in, 6.2 h out, short rests.",
        charge_current_A=0.107, discharge_current_A=0.097, rest_h=tidal.rest_h, **common,
    )  # fmt: skip
    lab.protocols["steady"] = add_protocol(
        code="steady", title="Slow and even, 20 hours", by=lead,
        words="20 h in, 20 h out at constant current, one hour of rest after each.",
        charge_current_A=0.033, discharge_current_A=0.03, rest_h=steady.rest_h, **common,
    )  # fmt: skip
    lab.protocols["long"] = revise_protocol(
        protocol=lab.protocols["steady"].protocol, by=lead,
        because="Winter stores discharge for days: half the current, 40 h.",
        words="40 h in, 40 h out at constant current, one hour of rest after each.",
        charge_current_A=0.0167, discharge_current_A=0.015, rest_h=long.rest_h,
    )  # fmt: skip


def _set_up_chambers(lab: Lab, begins: dt.date, *, places: int) -> None:
    lead = lab.people["lead"]
    for number, (name, temperature_C) in enumerate(CHAMBERS.items()):
        note = f"Held at {temperature_C:g} °C." + (" Air not scrubbed." if name == NOT_SCRUBBED else "")
        chamber = add_chamber(name=name, places=[str(n) for n in range(1, places + 1)], note=note, by=lead)
        lab.positions[name] = sorted(chamber.positions.all(), key=lambda position: int(position.name))
        for place, position in enumerate(lab.positions[name], start=1):
            channel = add_channel(name=f"{number + 1}-{place:02}", by=lead)
            state_accuracy(
                channel=channel, range_A=0.2, gain_pct=0.05, offset_pct=0.02, valid_from=begins, by=lead
            )
            lab.channels[position.pk] = channel


def _check_instruments(lab: Lab, begins: dt.date) -> None:
    chemist = lab.people["chemist"]
    at = dt.datetime.combine(begins, dt.time(9), dt.UTC)
    for code, name, quantity, unit, u in INSTRUMENTS:
        row = Instrument(code=code, name=name, quantity=quantity, unit=unit, u=u)
        row.full_clean()
        row.save()
        Check.objects.create(
            instrument=row, at=at, against="the laboratory's own standard", passed=True, by=chemist
        )
        record(verb="added", subject=row, by=chemist, payload={"quantity": quantity, "u": u, "unit": unit})

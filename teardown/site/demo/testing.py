"""Tells how cells are built and tested: builds, cells, tests, and the files that the cyclers wrote."""

import datetime as dt

from teardown.cells.actions import NewCell, add_build, add_cells, end_test, start_test
from teardown.cells.models import Cell, Test
from teardown.cycling.actions import import_file, withdraw_import
from teardown.formats.series_write import BDF_HEADERS, Dialect, write_text
from teardown.science.electrochemistry.columns import Series
from teardown.science.electrochemistry.phantoms import Life, cycling_history
from teardown.site.demo.lab import Lab, revise
from teardown.site.demo.lives import END_OF, Story
from teardown.vocabulary.models import Term

FINAL_SHARE = {
    "capacity_limit": 0.58, "voltage_limit": 0.66, "cannot_charge": 0.78, "leak": 0.86, "short": 0.9,
}  # fmt: skip
BENDS = {"passivation": 0.55, "additive_depletion": 0.7, "flooding": 0.85, "carbonate_blocking": 0.75}
DIALECTS = (
    Dialect(BDF_HEADERS, digits={"current_ampere": 6, "voltage_volt": 4, "test_time_second": 1}),
    Dialect(
        {
            "test_time_second": ("Test time [h]", 1 / 3600),
            "cycle_count": ("Cycle", 1),
            "step_count": ("Step", 1),
            "current_ampere": ("Current [mA]", 1000),
            "voltage_volt": ("Voltage [V]", 1),
            "ambient_temperature_celsius": ("Temperature [°C]", 1),
        },
        delimiter=";",
        decimal=",",
        digits={
            "current_ampere": 3,
            "voltage_volt": 4,
            "test_time_second": 5,
            "ambient_temperature_celsius": 1,
        },
    ),
    Dialect(
        {
            "test_time_second": ("Time (s)", 1),
            "voltage_volt": ("Voltage (V)", 1),
            "current_ampere": ("Current (A)", 1),
            "cycle_count": ("Cycle number", 1),
            "charging_capacity_ah": ("Charge capacity (Ah)", 1),
            "discharging_capacity_ah": ("Discharge capacity (Ah)", 1),
        },
        delimiter="\t",
        digits={"current_ampere": 6, "voltage_volt": 4, "test_time_second": 1},
    ),
)
ACCOUNTS = {
    "capacity_limit": "Fell below 60 % of its reference capacity twice in a row.",
    "voltage_limit": "Reached the lower voltage limit within the first hour of discharge.",
    "cannot_charge": "Takes hardly any charge any more; bubbles without pause.",
    "planned": "Stopped as planned.",
    "diagnosis": "Stopped early to look inside beside its sisters.",
    "leak": "White crust at the seal, found on the Monday round.",
    "short": "Voltage fell to zero at rest.",
    "lab_fault": "Lead found off its terminal; nothing wrong with the cell itself.",
}


def build(lab: Lab, batch: list[Story]) -> None:
    """Tell of a build and its cells as built."""
    first, analyst = batch[0], lab.people["analyst"]
    if first.revision == 2:
        revise(lab, first.formula)
    revision = lab.revisions.get((first.formula.code, first.revision)) or lab.revisions[first.formula.code, 1]
    lots = [
        (part.role, lab.lot(part.material.name, first.built_on))
        for part in revision.parts.select_related("material")
    ]
    made = add_build(code=first.build, revision=revision, built_on=first.built_on, lots=lots, by=analyst)
    air = next(lot for role, lot in lots if role == "air electrode")
    add_cells(
        cells=[
            NewCell(story.code, made, as_built(story), air_electrode_lot=air, time_zero=story.time_zero)
            for story in batch
        ],
        by=analyst,
    )


def as_built(story: Story) -> dict[str, float | None]:
    """Weigh and measure a cell as it was built; now and then something was not written down."""
    chance = story.rng("as built")
    iron = float(chance.normal(1.188, 0.02))
    thickness = float(chance.normal(802, 14))
    solids_cm3 = iron / 7.87 * (1 + story.formula.share) + iron * 0.06 / 0.95 + iron * 0.02 / 1.9
    porosity = 1 - solids_cm3 / (2.0 * 3.0 * thickness * 1e-4)
    volume = float(chance.normal(9.0, 0.15))
    facts: dict[str, float | None] = {
        "build_mass_g": round(float(chance.normal(41.6, 0.12)), 3),
        "iron_mass_g": round(iron, 4),
        "iron_mass_u_g": 0.0005,
        "inert_mass_g": round(iron * (0.08 + story.formula.share), 4),
        "collector_mass_g": round(float(chance.normal(0.412, 0.004)), 4),
        "electrode_width_mm": 20.0,
        "electrode_height_mm": 30.0,
        "electrode_thickness_um": round(thickness),
        "electrode_thickness_u_um": 5.0,
        "porosity": round(porosity, 3),
        "porosity_u": 0.015,
        "electrolyte_volume_mL": round(volume, 2),
        "electrolyte_KOH_mol_L": round(story.formula.KOH_mol_L * float(chance.normal(1, 0.01)), 3),
        "nominal_capacity_Ah": 0.6,
    }
    if chance.random() < 0.07:
        facts[str(chance.choice(["porosity", "electrolyte_volume_mL", "collector_mass_g"]))] = None
    if facts["porosity"] is None:
        facts["porosity_u"] = None
    return facts


def start(lab: Lab, story: Story) -> None:
    """Tell of the start of a test."""
    assert story.started is not None
    until = story.ended or dt.datetime.max.replace(tzinfo=dt.UTC)
    position, channel = lab.free_place(story.chamber, story.started, until)
    start_test(
        cell=Cell.objects.get(code=story.code),
        protocol=lab.protocols[story.regime.code],
        started_at=story.started,
        position=position,
        channel=channel,
        set_temperature_C=story.temperature_C,
        by=lab.people["analyst"],
    )


def end(lab: Lab, story: Story) -> None:
    """Tell of the end of a test and the reason for it."""
    assert story.ended is not None
    note = ACCOUNTS.get(story.end, "")
    end_test(
        test=test_of(story),
        ended_at=story.ended,
        end=Term.objects.get(key=f"end.{story.end}"),
        state_at_stop=story.state_at_stop,
        note=note if story.rng("note").random() < 0.8 else "",
        by=lab.people["analyst"],
    )


def bring_series(lab: Lab, story: Story) -> None:
    """Tell of the import of what the cycler wrote; one in thirty was another cell's, and is withdrawn."""
    analyst, test = lab.people["analyst"], test_of(story)
    chance = story.rng("files")
    # apart=False: these bytes were drawn a moment ago and need no limited process to be opened in
    if chance.random() < 1 / 30:
        other = write_text(history(story, cycles=4, seed=99), DIALECTS[0])
        wrong = import_file(
            test=test, upload=other, name=f"export-{story.seed % 997:03}.csv", by=analyst, apart=False
        )
        if wrong.delivery is not None:
            withdraw_import(delivery=wrong.delivery, by=analyst, reason="This file is another cell's.")
    dialect = DIALECTS[int(chance.choice(3, p=[0.45, 0.35, 0.2]))]
    data = write_text(history(story, cycles=story.cycles), dialect)
    import_file(test=test, upload=data, name=f"{story.chamber}_{story.code}.csv", by=analyst, apart=False)


def history(story: Story, *, cycles: int, seed: int | None = None) -> Series:
    """Draw what the cycler saw."""
    chance = story.rng("history")
    early = max(3, cycles)
    ohmic = story.root in {"contact_loss", "flooding", "carbonate_blocking", "carbon_corrosion"}
    begins = story.started.timestamp() if story.started else None
    return cycling_history(
        cycles=cycles,
        life=life_of(story, early),
        discharge_h=story.regime.discharge_h,
        charge_h=story.regime.charge_h,
        rest_h=story.regime.rest_h,
        coulombic_efficiency=story.coulombic_efficiency,
        efficiency_noise=0.002,
        records=12,
        rest_records=3,
        resistance_ohm=float(chance.uniform(0.25, 0.45)),
        resistance_growth=(1.6 if ohmic else 0.25) * story.severity / early,
        temperature_C=story.temperature_C,
        voltage_noise_V=0.0008,
        start_unix_s=begins,
        seed=story.seed % 100_000 if seed is None else seed,
    ).series


def life_of(story: Story, cycles: int) -> Life:
    """Give the capacity of a cell along its life, so that it stands at its end where its end says."""
    chance = story.rng("life")
    whole = 1 - FINAL_SHARE.get(END_OF.get(story.root, ""), 0.88)
    loss = whole * (1.0 if not story.censored else story.severity**1.5) * float(chance.normal(1, 0.04))
    bend = BENDS.get(story.root)
    gain = 0.18 if cycles > 40 else 0.06
    noise = 0.006 + 0.004 * float(chance.random())
    if bend is None or cycles < 12 or story.censored:
        return Life(story.capacity_Ah, gain, 8.0, loss / cycles, None, 0.0, noise)
    knee = bend * cycles
    return Life(story.capacity_Ah, gain, 8.0, 0.3 * loss / knee, knee, 0.7 * loss / (cycles - knee), noise)


def test_of(story: Story) -> Test:
    """Find the test of a story."""
    return Test.objects.select_related("cell__build", "protocol", "end").get(cell__code=story.code, number=1)


def builds_of(stories: list[Story]) -> list[list[Story]]:
    """Put the stories of each build together."""
    batches: dict[str, list[Story]] = {}
    for story in stories:
        batches.setdefault(story.build, []).append(story)
    return list(batches.values())

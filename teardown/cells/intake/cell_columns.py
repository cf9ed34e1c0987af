"""The columns of a table of cells, and an invented example."""

from teardown.cells.intake.columns import (
    CHARGE,
    FRACTION,
    LENGTH_MM,
    LENGTH_UM,
    MASS,
    MOLARITY,
    VOLUME,
    Column,
)

# Roles whose lot a row may name; the material is the one that the recipe has in that role.
LOTS = ("iron", "additive", "alkali", "air electrode", "separator")

COLUMNS = (
    Column("cell", "cell", "Code of the cell.", "code", True, ("code", "cell code"), example="SP-0501"),
    Column(
        "build",
        "build",
        "Code of the batch. A new code starts a new build.",
        "code",
        True,
        ("batch", "build code"),
        example="B-51",
    ),
    Column(
        "built_on",
        "built on",
        "Day of the build; needed where the build is new.",
        "day",
        names=("build date", "date"),
        example="2031-01-20",
    ),
    Column(
        "recipe",
        "recipe",
        "Code of the recipe; needed where the build is new.",
        "code",
        names=("recipe code",),
        example="SPL-21",
    ),
    Column(
        "revision",
        "revision",
        "Number of the recipe's revision; the last one where this is empty.",
        "whole",
        example="1",
    ),
    Column(
        "build_mass_g",
        "build mass",
        "Whole cell, filled.",
        "number",
        units=MASS,
        usual=(1, 5000),
        example="41.62",
    ),
    Column(
        "iron_mass_g",
        "iron mass",
        "Iron in the electrode.",
        "number",
        units=MASS,
        usual=(0.01, 1000),
        example="1.188",
    ),
    Column(
        "iron_mass_u_g",
        "iron mass u",
        "Its standard uncertainty.",
        "number",
        units=MASS,
        names=("u of iron mass",),
        example="0.002",
    ),
    Column(
        "inert_mass_g",
        "inert mass",
        "Binder, conductive addition and additive in the iron electrode.",
        "number",
        units=MASS,
        example="0.131",
    ),
    Column(
        "collector_mass_g",
        "collector mass",
        "Current collector of the iron electrode.",
        "number",
        units=MASS,
        example="0.402",
    ),
    Column(
        "electrode_width_mm", "electrode width", "", "number", units=LENGTH_MM, usual=(2, 1000), example="20"
    ),
    Column(
        "electrode_height_mm",
        "electrode height",
        "",
        "number",
        units=LENGTH_MM,
        usual=(2, 1000),
        example="30",
    ),
    Column(
        "electrode_thickness_um",
        "electrode thickness",
        "",
        "number",
        units=LENGTH_UM,
        usual=(20, 20_000),
        example="812",
    ),
    Column(
        "electrode_thickness_u_um",
        "electrode thickness u",
        "Its standard uncertainty.",
        "number",
        units=LENGTH_UM,
        names=("u of electrode thickness",),
        example="8",
    ),
    Column(
        "porosity",
        "porosity",
        "Of the iron electrode as built.",
        "fraction",
        units=FRACTION,
        usual=(0.2, 0.9),
        example="0.62",
    ),
    Column(
        "porosity_u",
        "porosity u",
        "Its standard uncertainty.",
        "fraction",
        units=FRACTION,
        names=("u of porosity",),
        example="0.02",
    ),
    Column(
        "electrolyte_volume_mL",
        "electrolyte volume",
        "",
        "number",
        units=VOLUME,
        usual=(0.1, 10_000),
        example="12.5",
    ),
    Column(
        "electrolyte_KOH_mol_L",
        "KOH",
        "As filled.",
        "number",
        units=MOLARITY,
        names=("electrolyte KOH",),
        usual=(0.5, 13),
        example="6.0",
    ),
    Column(
        "nominal_capacity_Ah",
        "nominal capacity",
        "",
        "number",
        units=CHARGE,
        usual=(0.001, 1000),
        example="0.55",
    ),
    *(
        Column(
            f"lot_{role.replace(' ', '_')}",
            f"{role} lot",
            f"Lot of the {role}. A code not known yet makes a new lot.",
            "name",
            example=example,
        )
        for role, example in zip(LOTS, ("L-07", "L-12", "", "AE-3", ""), strict=True)
    ),
    Column("time_zero", "time zero", "yes if it is opened right after formation.", "yes or no", example="no"),
    Column("twin_of", "twin of", "Code of the cell it is to be compared with.", "code", example=""),
    Column("note", "note", "Anything else.", example="lid closed twice"),
)
EXAMPLE = (
    tuple(column.example for column in COLUMNS),
    tuple(
        {
            "cell": "SP-0502",
            "iron_mass_g": "1.203",
            "build_mass_g": "41.70",
            "twin_of": "SP-0501",
            "note": "",
        }.get(column.key, column.example)
        for column in COLUMNS
    ),
)

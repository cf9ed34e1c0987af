"""The columns of a table of recipes, and an invented example."""

from teardown.cells.intake.columns import Column
from teardown.cells.models import Material

COLUMNS = (
    Column(
        "recipe",
        "recipe",
        "Code of the recipe; one row for each of its materials.",
        "code",
        True,
        ("recipe code",),
        example="SPL-21",
    ),
    Column(
        "title",
        "title",
        "What it is, in words; on any of its rows.",
        example="carbonyl iron, 4 % bismuth sulfide",
    ),
    Column(
        "role",
        "role",
        f"One of: {', '.join(Material.Kind.values)}.",
        "name",
        True,
        ("used as",),
        example="iron",
    ),
    Column(
        "material",
        "material",
        "Its name. A name that is not known yet makes a new material.",
        "name",
        True,
        example="carbonyl iron",
    ),
    Column("formula", "formula", "Of a new material; cautions read its elements.", "name", example="Fe"),
    Column("amount", "amount", "A number, with a point or a comma.", "number", True, example="1.2"),
    Column(
        "unit", "unit", "g, mg, 1 (mass fraction), %, mol/L, mL, cm2 or piece.", "name", True, example="g"
    ),
    Column(
        "basis",
        "basis",
        "What a fraction is a fraction of: iron, electrode or electrolyte; else empty.",
        "name",
        example="",
    ),
    Column("because", "because", "Why a recipe that exists changes.", example=""),
)
EXAMPLE = (
    ("SPL-21", "carbonyl iron, 4 % bismuth sulfide", "iron", "carbonyl iron", "Fe", "1.2", "g", "", ""),
    ("SPL-21", "", "additive", "bismuth sulfide", "Bi2S3", "4", "%", "iron", ""),
    ("SPL-21", "", "alkali", "potassium hydroxide", "KOH", "6", "mol/L", "electrolyte", ""),
    ("SPL-21", "", "electrolyte additive", "lithium hydroxide", "LiOH", "0.5", "mol/L", "electrolyte", ""),
    ("SPL-21", "", "air electrode", "nickel mesh air electrode", "Ni", "1", "piece", "", ""),
)

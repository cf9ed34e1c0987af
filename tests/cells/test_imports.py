"""Recipes and cells brought from outside: shown, applied, withdrawn; nothing half done."""

import csv
import io

import pytest
from django.core.exceptions import PermissionDenied, ValidationError

from teardown.cells.actions import (
    apply_import,
    keep_study,
    revise_recipe,
    show_import,
    withdraw_import,
)
from teardown.cells.intake import KINDS, UnknownHeads, example
from teardown.cells.models import Build, Cell, Lot, LotUse, Material, Recipe, RecipeRevision
from teardown.files.models import Delivery, StoredFile
from teardown.files.store import read
from teardown.formats.tables import UnreadableTable
from teardown.records.models import Record
from tests.formats.workbooks import cell, row, workbook
from tests.makers import make_cell, make_revision, make_test, make_user

pytestmark = pytest.mark.django_db(transaction=False)

RECIPES = """recipe;title;role;material;formula;amount;unit;basis
SPL-21;Überzug mix;iron;carbonyl iron;Fe;1,2;g;
SPL-21;;additive;bismuth sulfide;Bi2S3;4;%;iron
SPL-21;;alkali;potassium hydroxide;KOH;6,0;mol/L;
SPL-21;;air electrode;nickel mesh air electrode;Ni;1;piece;
"""
CELLS = """cell;build;built on;recipe;iron mass (mg);electrode thickness (µm);porosity (%);KOH (mol/L);iron\
 lot;note
SP-1;B-1;2031-01-20;SPL-21;1188;812,5;62;6,0;L-7;=HYPERLINK("http://x")
SP-2;B-1;2031-01-20;SPL-21;1203,5;;61,5;6,0;L-7;-0.88
"""


@pytest.fixture
def analyst():
    return make_user("analyst")


@pytest.fixture
def recipes(analyst):
    return apply_import(delivery=show_import(upload=RECIPES.encode(), name="r.csv", by=analyst), by=analyst)


def table(kind: str) -> bytes:
    out = io.StringIO()
    csv.writer(out).writerows(example(kind))
    return out.getvalue().encode()


def test_showing_writes_nothing_but_the_plan(analyst):
    delivery = show_import(upload=RECIPES.encode("cp1252"), name="r.csv", by=analyst)
    assert delivery.kind == "cells.recipes"
    assert (delivery.column_map["encoding"], delivery.column_map["delimiter"]) == (
        "Windows-1252",
        "semicolon",
    )
    assert [(s["code"], s["does"], s["rows"]) for s in delivery.planned] == [
        ("SPL-21", "new recipe", [2, 3, 4, 5])
    ]
    assert not Recipe.objects.exists()
    assert not Material.objects.exists()


def test_recipes_arrive_with_their_amounts_and_materials(recipes):
    revision = RecipeRevision.objects.with_factors().get()
    assert (revision.recipe.code, revision.recipe.title) == ("SPL-21", "Überzug mix")
    assert (revision.iron, revision.additive, revision.additive_share, revision.alkali_mol_L) == (
        "carbonyl iron",
        "bismuth sulfide",
        0.04,
        6.0,
    )
    assert Material.objects.get(name="bismuth sulfide").constituents == ["Bi", "S"]


def test_cells_arrive_in_the_units_of_the_books(recipes, analyst):
    apply_import(delivery=show_import(upload=CELLS.encode(), name="c.csv", by=analyst), by=analyst)
    first, second = Cell.objects.order_by("code")
    assert (first.iron_mass_g, first.electrode_thickness_um, first.porosity) == (1.188, 812.5, 0.62)
    assert (second.iron_mass_g, second.electrode_thickness_um, second.porosity) == (1.2035, None, 0.615)
    assert first.note == '=HYPERLINK("http://x")'
    assert second.note == "-0.88"
    assert first.build == second.build
    assert first.build.revision.frozen_at is not None
    assert LotUse.objects.get().lot == Lot.objects.get(material__name="carbonyl iron", code="L-7")
    assert "überzug mix" in first.search_text


def test_each_step_writes_one_record_that_names_what_was_made(recipes, analyst):
    records = list(Record.objects.about(f"files.delivery:{recipes.pk}"))
    assert [r.verb for r in records] == ["showed", "applied"]
    made = records[1].payload["made"]
    assert f"cells.recipe:{Recipe.objects.get().pk}" in made
    assert not list(Record.objects.all().broken())


def test_one_bad_row_never_blocks_the_preview_and_stays_out_only_when_told(recipes, analyst):
    text = CELLS + "sp 3;B-1;2031-01-20;SPL-21;12;;;;;\nSP-4;B-1;2031-01-20;SPL-21;1_000;;60;;;\n"
    delivery = show_import(upload=text.encode(), by=analyst)
    assert [step["code"] for step in delivery.planned] == ["SP-1", "SP-2"]
    assert [(r["row"], r["column"]) for r in delivery.refusals] == [(4, "cell"), (5, "iron mass (mg)")]
    assert "underscore" in delivery.refusals[1]["message"]
    with pytest.raises(ValidationError, match="2 rows were refused"):
        apply_import(delivery=delivery, by=analyst)
    assert not Cell.objects.exists()
    apply_import(delivery=delivery, leave_out_refused=True, by=analyst)
    assert Cell.objects.count() == 2


def test_a_recipe_comes_whole_or_not_at_all(analyst):
    text = RECIPES.replace("4;%;iron", "4;1;iron")
    delivery = show_import(upload=text.encode(), by=analyst)
    assert delivery.planned == []
    assert {r["row"] for r in delivery.refusals} == {2, 3, 4, 5}
    assert "between 0 and 1" in next(r["message"] for r in delivery.refusals if r["row"] == 3)


def test_the_same_table_again_brings_nothing(recipes, analyst):
    delivery = show_import(upload=RECIPES.encode(), by=analyst)
    assert [step["does"] for step in delivery.planned] == ["same"]
    with pytest.raises(ValidationError, match="nothing to write"):
        apply_import(delivery=delivery, by=analyst)


def test_a_changed_recipe_is_a_new_revision_that_says_what_differs(recipes, analyst):
    delivery = show_import(upload=RECIPES.replace(";4;%", ";6;%").encode(), by=analyst)
    step = delivery.planned[0]
    assert step["does"] == "new revision"
    assert "bismuth sulfide: 4 % of the iron becomes 6 % of the iron" in step["notes"]
    apply_import(delivery=delivery, by=analyst)
    assert list(RecipeRevision.objects.values_list("number", flat=True)) == [1, 2]


def test_applying_looks_at_the_books_again(recipes, analyst):
    delivery = show_import(upload=CELLS.encode(), by=analyst)
    make_cell("SP-1")
    with pytest.raises(ValidationError, match="books changed"):
        apply_import(delivery=delivery, by=analyst)
    delivery.refresh_from_db()
    assert delivery.state == Delivery.State.SHOWN
    assert [step["code"] for step in delivery.planned] == ["SP-2"]
    assert "another build" in delivery.refusals[0]["message"]


def test_an_import_is_applied_once(recipes, analyst):
    with pytest.raises(ValidationError, match="applied already"):
        apply_import(delivery=recipes, by=analyst)


def test_a_withdrawn_import_frees_its_codes_and_keeps_its_file(recipes, analyst):
    delivery = apply_import(delivery=show_import(upload=CELLS.encode(), by=analyst), by=analyst)
    withdraw_import(delivery=delivery, reason="wrong week", by=analyst)
    assert not Cell.objects.exists()
    assert not Build.objects.exists()
    assert Cell.all_ever.count() == 2
    assert read(delivery.receipt.file) == CELLS.encode()
    again = apply_import(delivery=show_import(upload=CELLS.encode(), by=analyst), by=analyst)
    assert again.state == "applied"
    assert Cell.objects.count() == 2


def test_recipes_are_withdrawn_with_their_revisions_even_when_frozen(recipes, analyst):
    cells = apply_import(delivery=show_import(upload=CELLS.encode(), by=analyst), by=analyst)
    with pytest.raises(ValidationError, match="SPL-21 rev 1 has a build: B-1"):
        withdraw_import(delivery=recipes, reason="wrong week", by=analyst)
    withdraw_import(delivery=cells, reason="wrong week", by=analyst)
    withdraw_import(delivery=recipes, reason="wrong week", by=analyst)
    assert not Recipe.objects.exists()
    assert not RecipeRevision.objects.exists()


@pytest.mark.parametrize("hang", ["test", "study", "revision"])
def test_an_import_stays_while_something_hangs_on_it(recipes, analyst, hang):
    delivery = apply_import(delivery=show_import(upload=CELLS.encode(), by=analyst), by=analyst)
    first = Cell.objects.get(code="SP-1")
    if hang == "test":
        make_test(first)
    elif hang == "study":
        keep_study(name="winter", cells=[first], by=analyst)
    else:
        revise_recipe(recipe=Recipe.objects.get(), because="more", by=analyst)
        delivery = recipes
    with pytest.raises(ValidationError, match="so the import stays"):
        withdraw_import(delivery=delivery, reason="wrong week", by=analyst)
    assert Cell.objects.count() == 2


def test_a_shown_import_can_be_dropped(analyst):
    delivery = show_import(upload=RECIPES.encode(), by=analyst)
    withdraw_import(delivery=delivery, reason="not mine", by=analyst)
    with pytest.raises(ValidationError, match="withdrawn already"):
        apply_import(delivery=delivery, by=analyst)


@pytest.mark.parametrize("kind", KINDS)
def test_the_example_on_the_page_can_be_brought(analyst, kind):
    apply_import(delivery=show_import(upload=table("cells.recipes"), by=analyst), by=analyst)
    delivery = show_import(upload=table(kind), kind=kind, by=analyst)
    assert delivery.refusals == []
    assert delivery.column_map["remarks"] == []
    if kind == "cells.cells":
        apply_import(delivery=delivery, by=analyst)
        assert Cell.objects.get(code="SP-0502").twin_of == Cell.objects.get(code="SP-0501")


def test_a_workbook_is_as_good_as_a_csv_and_its_formulas_are_refused_where_numbers_stand(recipes, analyst):
    table = [
        ("cell", "build", "built_on", "recipe", "iron_mass_g"),
        ("SP-1", "B-1", 47868, "SPL-21", 1.188),
        ("SP-2", "B-1", 47868, "SPL-21", 2),
    ]
    book = workbook(
        *(
            row(
                n,
                *(
                    cell(f"{c}{n}", v, style=int(c == "C"), formula="E2*2" if v == 2 else "")
                    for c, v in zip("ABCDE", line, strict=True)
                ),
            )
            for n, line in enumerate(table, 1)
        )
    )
    delivery = show_import(upload=book, name="c.xlsx", by=analyst)
    assert [step["code"] for step in delivery.planned] == ["SP-1"]
    assert delivery.planned[0]["values"]["built_on"] == "2031-01-20"
    assert "“=E2*2” is a formula" in delivery.refusals[0]["message"]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("cell;build;iron mass\nSP-1;B-1;1\n", r"names no unit: write “iron mass \(g\)”"),
        ("cell;build;iron mass (oz)\nSP-1;B-1;1\n", "unit oz is not one of g, mg, kg"),
        ("cell;built on\nSP-1;2031-01-20\n", "columns are missing: build"),
        ("x;y\n1;2\n", "neither those of recipes nor of cells"),
        ("cell;code;build\nSP-1;SP-1;B-1\n", "mean the same column"),
    ],
)
def test_heads_that_say_too_little_are_refused_and_the_file_is_kept(analyst, text, words):
    with pytest.raises(UnknownHeads, match=words):
        show_import(upload=text.encode(), by=analyst)
    assert StoredFile.objects.get().bytes == len(text)
    assert not Delivery.objects.exists()


@pytest.mark.parametrize(
    ("line", "column", "words"),
    [
        ("SP-1;B-9;;SPL-21;1;0.5", "build", "give its recipe and the day"),
        ("SP-1;B-9;2031-01-20;SPL-99;1;0.5", "recipe", "No recipe SPL-99 is known"),
        ("SP-1;B-9;03/04/2031;SPL-21;1;0.5", "built on", "no day that reads the same everywhere"),
        ("SP-1;B-9;31.02.2031;SPL-21;1;0.5", "built on", "there is no such day"),
        ("SP-1;B-9;2031-01-20;SPL-21;nan;0.5", "iron mass (g)", "not a measured number"),
        ("SP-1;B-9;2031-01-20;SPL-21;-1;0.5", "iron mass (g)", "not above zero"),
        ("SP-1;B-9;2031-01-20;SPL-21;1;60", "porosity", "no fraction between 0 and 1"),
        ("<b>;B-9;2031-01-20;SPL-21;1;0.5", "cell", "is no code"),
        ("SP-1;B-9;2031-01-20;SPL-21;1,188.0;0.5", "iron mass (g)", "more than one point or comma"),
    ],
)
def test_a_row_is_refused_with_its_column_and_what_to_write(recipes, analyst, line, column, words):
    delivery = show_import(
        upload=f"cell;build;built on;recipe;iron mass (g);porosity\n{line}\n".encode(), by=analyst
    )
    assert delivery.planned == []
    assert [(r["row"], r["column"]) for r in delivery.refusals] == [(2, column)]
    assert words in delivery.refusals[0]["message"]


@pytest.mark.parametrize(
    "written",
    ["2031-01-20", "20.1.2031", "20. 01. 2031", "20 January 2031", "20-Jan-2031", "2031-01-20 00:00:00"],
)
def test_a_day_may_be_written_in_ways_that_read_the_same_everywhere(recipes, analyst, written):
    delivery = show_import(
        upload=f"cell;build;built on;recipe\nSP-1;B-1;{written};SPL-21\n".encode(), by=analyst
    )
    assert delivery.planned[0]["values"]["built_on"] == "2031-01-20"


def test_two_rows_of_one_cell_are_both_refused(recipes, analyst):
    delivery = show_import(upload=(CELLS + CELLS.splitlines()[1]).encode(), by=analyst)
    assert [r["row"] for r in delivery.refusals] == [2, 4]
    assert [step["code"] for step in delivery.planned] == ["SP-2"]


def test_a_cell_whose_twin_is_refused_is_refused(recipes, analyst):
    text = """cell;build;built on;recipe;twin of
SP 1;B-1;2031-01-20;SPL-21;
SP-2;B-1;2031-01-20;SPL-21;SP-3
SP-3;B-1;2031-01-20;SPL-99;
"""
    delivery = show_import(upload=text.encode(), by=analyst)
    assert {(r["row"], r["column"]) for r in delivery.refusals} == {
        (2, "cell"),
        (3, "twin of"),
        (4, "recipe"),
    }


def test_a_file_that_is_no_table_is_kept_and_refused(analyst):
    with pytest.raises(UnreadableTable):
        show_import(upload=b"\x00\x01\x02" * 100, by=analyst)
    assert StoredFile.objects.exists()


@pytest.mark.parametrize("role", ["bench", "operator", "reviewer", "guest"])
def test_only_analysts_and_leads_import(role):
    with pytest.raises(PermissionDenied):
        show_import(upload=RECIPES.encode(), by=make_user(role))


def test_a_large_table_takes_few_queries(analyst, django_assert_max_num_queries):
    make_revision("SPL-21")
    lines = [f"SP-{n};B-{n // 20};2031-01-20;SPL-21;1.1" for n in range(2000)]
    data = "\n".join(["cell;build;built on;recipe;iron mass (g)", *lines]).encode()
    with django_assert_max_num_queries(25):
        delivery = show_import(upload=data, by=analyst)
    assert len(delivery.planned) == 2000
    with django_assert_max_num_queries(
        1500
    ):  # a hundred builds at about twelve each, two thousand cells in five
        apply_import(delivery=delivery, by=analyst)
    assert Cell.objects.count() == 2000
    delivery.refresh_from_db()
    with django_assert_max_num_queries(100):
        withdraw_import(delivery=delivery, reason="wrong year", by=analyst)
    assert not Cell.objects.exists()

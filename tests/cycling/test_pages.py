"""The pages of a test, its imports, and the cells of a recipe over each other."""

from contextlib import closing
from pathlib import Path

import numpy as np
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse
from pytest_django import DjangoAssertNumQueries

from teardown.accounts.models import User
from teardown.cells.models import Test
from teardown.cycling.actions import import_file
from teardown.cycling.models import Curves, CyclingFile
from teardown.cycling.store import curves_path, series_path
from teardown.files.models import Delivery
from teardown.files.store import derived, originals
from teardown.files.tasks import work_off
from teardown.formats.series_write import Dialect, write_text
from teardown.science.electrochemistry.phantoms import Life, cycling_history
from tests.formats.packages import opened
from tests.makers import make_build, make_cell, make_test, make_user

pytestmark = pytest.mark.django_db
PLAIN = {
    "test_time_second": ("Time [s]", 1.0),
    "current_ampere": ("Current [A]", 1.0),
    "voltage_volt": ("Voltage [V]", 1.0),
}


def _text(cycles: int = 14, **more: float) -> bytes:
    return write_text(cycling_history(cycles=cycles, life=Life(**more)).series, Dialect(PLAIN))


@pytest.fixture
def analyst(client: Client) -> User:
    user = make_user("analyst")
    client.force_login(user)
    return user


@pytest.fixture
def imported(analyst: User) -> Test:
    test = make_test(end="capacity_limit")
    import_file(test=test, upload=_text(), name="a.csv", by=analyst, apart=False)
    work_off()
    return test


def test_the_page_shows_curves_numbers_and_files(client: Client, imported: Test) -> None:
    page = client.get(reverse("history", args=[imported.pk])).content.decode()
    assert page.count('<svg class="drawing"') >= 5
    assert "peak capacity" in page
    assert "a.csv" in page
    assert "CYCLES_COUNTED" in page


@pytest.mark.parametrize(
    "query",
    [
        "across=day",
        "across=throughput&per=mAh_g",
        "cycles=3,9",
        "cycles=nine",
        "across=x&per=y",
        "cycles=999999999999",
    ],
)
def test_every_choice_is_drawn(client: Client, imported: Test, query: str) -> None:
    response = client.get(reverse("history", args=[imported.pk]) + "?" + query)
    assert response.status_code == 200


def test_cycles_that_are_not_there_are_named(client: Client, imported: Test) -> None:
    page = client.get(reverse("history", args=[imported.pk]) + "?cycles=3,77").content.decode()
    assert "Not a cycle of this test" in page
    assert "77" in page


def test_the_page_of_a_test_asks_few_questions(
    client: Client, imported: Test, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    with django_assert_max_num_queries(14):
        client.get(reverse("history", args=[imported.pk]))


def test_the_numbers_can_be_taken_away(client: Client, imported: Test) -> None:
    rows = client.get(reverse("test_cycles", args=[imported.pk])).content.decode().splitlines()
    assert rows[0].startswith("cycle,start_s")
    assert len(rows) == 15
    curves = (
        client.get(reverse("test_curves", args=[imported.pk]) + "?cycles=2").content.decode().splitlines()
    )
    assert len(curves) == 1 + 2 * 120
    with closing(client.get(reverse("test_series", args=[imported.pk]))) as series:
        assert b"".join(series).startswith(b"PAR1")  # type: ignore[arg-type]


def test_a_test_without_files_says_so(client: Client, analyst: User) -> None:
    test = make_test()
    page = client.get(reverse("history", args=[test.pk])).content.decode()
    assert "No cycling file has been imported" in page
    assert client.get(reverse("test_series", args=[test.pk])).status_code == 404
    assert client.get(reverse("test_cycles", args=[test.pk])).status_code == 200


def test_a_file_is_shown_mapped_applied_and_withdrawn_in_the_browser(client: Client, analyst: User) -> None:
    test = make_test()
    bare = SimpleUploadedFile("b.csv", _text().replace(b"Voltage [V]", b"Voltage"))
    shown = client.post(reverse("import_series", args=[test.pk]), {"file": bare}, follow=True)
    assert "Name the unit in a column map" in shown.content.decode()
    delivery = Delivery.objects.get()
    address = reverse("series_import", args=[delivery.pk])
    answers = {"deed": "map", "sign": "auto"}
    for k, (quantity, unit) in enumerate(
        (("test_time_second", "s"), ("current_ampere", "A"), ("voltage_volt", "V"))
    ):
        answers |= {f"quantity_{k}": quantity, f"unit_{k}": unit}
    page = client.post(address, answers, follow=True).content.decode()
    assert "14, 14 complete" in page
    client.post(address, {"deed": "apply"})
    work_off()
    assert Curves.objects.get(test=test).n == 14
    assert client.post(address, {"deed": "withdraw", "reason": ""}).status_code == 422
    client.post(address, {"deed": "withdraw", "reason": "wrong cell"})
    assert CyclingFile.objects.filter(withdrawn=True).exists()


def test_an_import_that_was_left_is_found_again(client: Client, analyst: User) -> None:
    test = make_test()
    client.post(reverse("import_series", args=[test.pk]), {"file": SimpleUploadedFile("left.csv", _text())})
    page = client.get(reverse("history", args=[test.pk])).content.decode()
    assert "Shown, not applied yet" in page
    assert "left.csv" in page


def test_a_map_without_a_unit_is_refused_in_words(client: Client, analyst: User) -> None:
    test = make_test()
    client.post(reverse("import_series", args=[test.pk]), {"file": SimpleUploadedFile("b.csv", _text())})
    address = reverse("series_import", args=[Delivery.objects.get().pk])
    answers = {
        "deed": "map",
        "sign": "auto",
        "quantity_0": "test_time_second",
        "quantity_1": "current_ampere",
        "quantity_2": "voltage_volt",
    }
    response = client.post(address, answers)
    assert response.status_code == 422
    assert "Choose a unit of time" in response.content.decode()
    assert client.get(reverse("series_map", args=[Delivery.objects.get().pk])).json()["schema"]["fields"]


def test_the_cells_of_a_recipe_lie_over_each_other(client: Client, analyst: User) -> None:
    build = make_build()
    for k in range(4):
        test = make_test(make_cell(build=build), end="capacity_limit" if k else None)
        import_file(
            test=test,
            upload=_text(cycles=8 + 2 * k, capacity_Ah=0.5 + 0.05 * k),
            name=f"{k}.csv",
            by=analyst,
            apart=False,
        )
    work_off()
    page = client.get(reverse("recipe_capacity", args=[build.revision.recipe.code])).content.decode()
    assert "4 cells with a cycling file" in page
    assert "median" in page


def _recipe(by: User, *, cells: int, fade: float, iron_mass_g: float = 1.0) -> str:
    """Make a recipe with cells that ran 8, 10, 12 ... cycles; the first still runs."""
    build = make_build()
    for k in range(cells):
        test = make_test(make_cell(build=build, iron_mass_g=iron_mass_g), end="capacity_limit" if k else None)
        data = _text(cycles=8 + 2 * k, capacity_Ah=0.5 + 0.05 * k, fade=fade)
        import_file(test=test, upload=data, name=f"{build.code}-{k}.csv", by=by, apart=False)
    return build.revision.recipe.code


@pytest.fixture
def recipes(analyst: User) -> list[str]:
    codes = [
        _recipe(analyst, cells=4, fade=0.001),
        _recipe(analyst, cells=3, fade=0.01, iron_mass_g=2.0),
        _recipe(analyst, cells=1, fade=0.002),
    ]
    work_off()
    return codes


@pytest.mark.parametrize(
    "query", ["", "across=day", "across=throughput&per=mAh_g", "cells=every&across=cycle"]
)
def test_recipes_lie_over_each_other(client: Client, recipes: list[str], query: str) -> None:
    asked = "&".join(f"recipe={code}" for code in recipes)
    page = client.get(f"{reverse('capacities')}?{asked}&{query}").content.decode()
    assert "8 cells of 3 recipes" in page
    assert "too few cells" in page
    for code in recipes:
        assert f"recipe:{code}" in page
    assert "<svg" in page


def test_the_numbers_of_an_overlay_leave_as_table_and_as_package(client: Client, recipes: list[str]) -> None:
    asked = "&".join(f"recipe={code}" for code in recipes) + "&per=mAh_g"
    rows = client.get(f"{reverse('capacities_csv')}?{asked}").content.decode().splitlines()
    assert rows[0] == "recipe,cycle,lower_quartile,median,upper_quartile,cells"
    assert {row.split(",")[0] for row in rows[1:]} == set(recipes[:2])
    answer = client.get(f"{reverse('capacities_package')}?{asked}")
    assert answer["Content-Type"] == "application/zip"
    package, tables = opened(answer.content)
    assert set(tables) == {"tests", "cycles", "metrics", "spread"}
    assert len(tables["tests"]) == 8
    assert len(tables["cycles"]) == sum(8 + 2 * k for n in (4, 3, 1) for k in range(n))
    assert len(tables["spread"]) == len(rows) - 1
    units = {f["name"]: f.get("unit") for r in package["resources"] for f in r["schema"]["fields"]}
    assert (units["discharge_Ah"], units["start_s"], units["median"]) == ("Ah", "s", "mAh/g")
    # the median of the numbers that left is the median that is drawn
    first = next(row for row in tables["spread"] if row["recipe"] == recipes[0] and row["cycle"] == "5.0")
    of_recipe = {
        row["cell"]: float(row["iron_mass"]) for row in tables["tests"] if row["recipe"] == recipes[0]
    }
    at_five = [
        1000 * float(row["discharge_Ah"]) / of_recipe[row["cell"]]
        for row in tables["cycles"]
        if row["cell"] in of_recipe and row["cycle"] == "5"
    ]
    assert float(first["median"]) == pytest.approx(float(np.median(at_five)), rel=1e-6)
    assert first["cells"] == "4"


def test_a_history_leaves_as_a_package(client: Client, imported: Test) -> None:
    package, tables = opened(client.get(reverse("test_package", args=[imported.pk])).content)
    assert package["title"] == f"Cycling history of {imported.cell.code}, test 1"
    assert len(tables["cycles"]) == 14
    assert {row["name"] for row in tables["metrics"]} >= {"q_ref_Ah", "retention", "loss_Ah"}
    assert {row["half"] for row in tables["voltage"]} == {"charge", "discharge"}
    assert client.get(reverse("test_package", args=[make_test().pk])).status_code == 404


def test_an_overlay_asks_few_questions(
    client: Client, recipes: list[str], django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    asked = "&".join(f"recipe={code}" for code in recipes)
    with django_assert_max_num_queries(12):
        client.get(f"{reverse('capacities')}?{asked}")
    with django_assert_max_num_queries(10):
        client.get(f"{reverse('capacities_package')}?{asked}")


def test_recipes_that_are_not_there_are_refused_in_words(client: Client, analyst: User) -> None:
    page = client.get(f"{reverse('capacities')}?recipe=NOBODY").content.decode()
    assert "NOBODY is not one of the available choices" in page
    assert client.get(f"{reverse('capacities_package')}?recipe=NOBODY").status_code == 404


def test_a_cycling_import_stands_in_the_list_of_imports(client: Client, imported: Test) -> None:
    page = client.get(reverse("imports")).content.decode()
    assert reverse("series_import", args=[Delivery.objects.get().pk]) in page


def test_what_is_kept_beside_the_database_can_be_made_again(client: Client, imported: Test) -> None:
    packed = Curves.objects.get(test=imported)
    for path in (curves_path(imported.pk, packed.run.key), series_path(imported.pk, packed.run.key)):
        derived().delete(path)
    address = reverse("history", args=[imported.pk])
    assert "not kept here any more" in client.get(address).content.decode()
    assert client.get(reverse("test_series", args=[imported.pk])).status_code == 404
    client.post(reverse("sum_up_again", args=[imported.pk]))
    work_off()
    assert "not kept here any more" not in client.get(address).content.decode()
    with closing(client.get(reverse("test_series", args=[imported.pk]))) as series:
        assert series.status_code == 200


def test_a_failed_summary_says_why_and_can_be_tried_again(client: Client, analyst: User) -> None:
    test = make_test()
    file = import_file(test=test, upload=_text(), name="a.csv", by=analyst, apart=False)
    original = Path(originals().path(file.receipt.file.path))
    hidden = original.with_suffix(".hidden")
    original.rename(hidden)
    work_off()
    page = client.get(reverse("history", args=[test.pk])).content.decode()
    assert "came to no result" in page
    hidden.rename(original)
    client.post(reverse("sum_up_again", args=[test.pk]))
    work_off()
    assert Curves.objects.get(test=test).n == 14


def test_a_guest_sees_no_open_cell(client: Client, imported: Test) -> None:
    client.force_login(make_user("guest"))
    assert client.get(reverse("history", args=[imported.pk])).status_code == 404
    assert client.get(reverse("import_series", args=[imported.pk])).status_code == 403

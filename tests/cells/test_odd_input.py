"""What the world sends: nasty strings, huge numbers, an outside laboratory's table. Never a fault of ours."""

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from teardown.cells.models import Cell, Material, Study
from teardown.files.models import Delivery
from tests.makers import make_build, make_cell, make_revision, make_user

pytestmark = pytest.mark.django_db
NASTY = [
    "\x00",
    "'; DROP TABLE cells_cell; --",
    "<script>window.__x=1</script>",
    "%_\\",
    "\u202eabc\u2066",
    "e\u0301" * 50,
    "𝕊𝕡\U0001f9ea",
    "9" * 400,
    "1e999",
    "-1",
    "nan",
    "1_000",
    "٣",
    "x" * 20_000,
    "../../etc/passwd",
]
LISTS = {
    "recipes": ("words", "iron", "alkali_least", "built", "order", "page"),
    "tests": ("words", "running", "end", "coldest", "order", "page"),
    "materials": ("words", "kind", "order", "page"),
    "imports": ("page",),
    "runs": ("state", "function", "page"),
    "arrivals": ("name", "sha256", "since", "page"),
}


@pytest.fixture
def lead(client):
    user = make_user("analyst", "lead")
    client.force_login(user)
    return user


@pytest.mark.parametrize("name", LISTS)
def test_a_list_answers_whatever_is_asked(client, lead, name):
    for parameter in LISTS[name]:
        for value in NASTY:
            for export in ({}, {"export": "csv"}):
                answer = client.get(reverse(name), {parameter: value, **export})
                body = b"".join(answer) if answer.streaming else answer.content
                assert answer.status_code == 200, (parameter, value)
                assert b"<script>window" not in body


def test_a_wrong_question_finds_nothing_rather_than_everything(client, lead):
    make_build(make_revision("FeBi-4"))
    page = client.get(reverse("recipes"), {"alkali_least": "1_000"}).content.decode()
    assert "holds an underscore" in page
    assert "No recipe answers this question" in page


@pytest.mark.parametrize("value", NASTY)
def test_a_form_keeps_what_is_typed_or_refuses_it_in_words(client, lead, value):
    answer = client.post(reverse("materials"), {"name": value, "kind": "other", "note": value})
    if answer.status_code == 302:
        material = Material.objects.get()
        assert (material.name, material.note) == (value.strip(), value.strip())
        assert client.get(answer["Location"]).status_code == 200
    else:
        assert answer.status_code == 200
        assert b'class="errors"' in answer.content
    assert client.post(reverse("studies"), {"name": value, "cells": value}).status_code in {200, 302}
    assert Study.objects.filter(cells=None).count() <= 1


@pytest.mark.parametrize("pk", ["0", "99999999999999999999999", "18446744073709551616"])
def test_an_address_of_nothing_is_said_to_be_nothing(client, lead, pk):
    for stem in ("tests", "materials", "studies", "imports", "runs"):
        assert client.get(f"/{stem}/{pk}/").status_code == 404


def test_the_table_of_an_outside_laboratory(client, lead):
    """Semicolons, decimal commas, a micro sign of Windows-1252, a formula, a 200 kB comment, a wrong code."""
    make_revision("SPL-21")
    lines = ["cell;build;built on;recipe;iron mass (g);electrode thickness (µm);note"]
    lines += [f"SP-{n:04};B-9;20.1.2031;SPL-21;1,{n:03};8{n:02},5;" for n in range(43)]
    lines[5] += '"=HYPERLINK(""http://elsewhere.example"";""click"")"'
    lines[6] += "-0.88"
    lines[9] += "x" * 200_000
    lines[20] = lines[20].replace("SP-0019", "sp 0019")
    data = "\n".join(lines).encode("cp1252")
    client.post(reverse("imports"), {"table": SimpleUploadedFile("results.csv", data)})
    delivery = Delivery.objects.get()
    page = client.get(reverse("import", args=[delivery.pk])).content.decode()
    assert "41 of 43 rows of cells understood, 2 refused" in page
    assert [(one["row"], one["column"]) for one in delivery.refusals] == [(10, "note"), (21, "cell")]
    assert len(page) < 200_000
    assert "804,5 µm" in page
    assert "read as Windows-1252" in page
    client.post(reverse("apply_import", args=[delivery.pk]), {"leave_out_refused": "on"})
    cell = Cell.objects.get(code="SP-0004")
    assert (cell.iron_mass_g, cell.electrode_thickness_um) == (1.004, 804.5)
    assert cell.note == '=HYPERLINK("http://elsewhere.example";"click")'
    shown = client.get(reverse("build", args=["B-9"])).content.decode()
    assert "=HYPERLINK(&quot;" in shown


@pytest.mark.parametrize("size", [17 * 2**20])
def test_a_table_too_large_is_kept_and_refused(client, lead, size):
    answer = client.post(
        reverse("imports"), {"table": SimpleUploadedFile("big.csv", b"cell,build\n" * (size // 11 + 1))}
    )
    assert answer.status_code == 422
    assert "MB are read" in answer.content.decode()


def test_a_cell_of_any_case_is_found_by_its_code(client, lead):
    make_cell("SP-0413")
    client.post(reverse("studies"), {"name": "one", "cells": "SP-0413"})
    assert Study.objects.get().cells.count() == 1

"""The pages of recipes, tests, imports: what they show, what they do, who may."""

import datetime as dt

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from django.utils import timezone

from teardown.cells.actions import add_chamber, add_lot, add_material, add_protocol, revise_recipe
from teardown.cells.models import Build, Cell, Material, Recipe, RecipeRevision, Study, Test
from teardown.files.models import Delivery
from teardown.vocabulary.models import Term
from tests.cells.test_imports import CELLS, RECIPES
from tests.makers import make_build, make_cell, make_revision, make_test, make_user

pytestmark = pytest.mark.django_db


@pytest.fixture
def lead(client):
    user = make_user("analyst", "lead")
    client.force_login(user)
    return user


def text(answer):
    return (b"".join(answer) if answer.streaming else answer.content).decode("utf-8-sig")


def test_recipes_are_listed_by_their_newest_revision_and_filtered_by_the_address(client, lead):
    make_build(make_revision("FeBi-4", share=0.04))
    make_build(make_revision("FeZn-2", additive="zinc sulfide", koh=4))
    additive = Material.objects.get(name="zinc sulfide")
    page = text(client.get(reverse("recipes"), {"additive": additive.pk, "alkali_most": "4,5"}))
    assert "FeZn-2" in page
    assert "FeBi-4" not in page.split("<tbody>")[1]
    table = text(client.get(reverse("recipes"), {"export": "csv", "order": "-alkali"}))
    assert [line.split(",")[0] for line in table.splitlines()[1:]] == ["FeBi-4", "FeZn-2"]


def test_words_are_found_in_any_case_of_any_letter(client, lead):
    make_revision("FeBi-4", iron="ÜBERZUG iron")
    iron = Material.objects.get(name="ÜBERZUG iron")
    for code in ("L-7", "L-8"):
        add_lot(material=iron, code=code, by=lead)
    assert "FeBi-4" in text(client.get(reverse("recipes"), {"words": "überzug BISMUTH"}))
    assert "FeBi-4" not in text(client.get(reverse("recipes"), {"words": "überzug copper"}))
    table = text(client.get(reverse("materials"), {"words": "l-7", "export": "csv"}))
    assert table.splitlines()[1:] == ["ÜBERZUG iron,iron,,Fe,2,"]


def test_the_list_of_recipes_holds_its_number_of_queries(client, lead, django_assert_num_queries):
    for n in range(12):
        make_cell(build=make_build(make_revision(f"R-{n}")))
    client.get(reverse("recipes"))
    with django_assert_num_queries(9):  # session, user, roles, what waits, three filter lists, count, rows
        client.get(reverse("recipes"))


def test_a_recipe_shows_how_its_revisions_differ(client, lead):
    revision = make_revision("FeBi-4")
    make_cell("SP-0413", build=make_build(revision))
    parts = [p for p in revision.parts.all() if p.role != "air electrode"]
    from teardown.cells.actions.recipes import Part

    revise_recipe(
        recipe=revision.recipe,
        because="to see what the air electrode does",
        parts=[Part(p.role, p.material, p.amount * 1.5, p.unit, p.basis) for p in parts],
        by=lead,
    )
    page = text(client.get(reverse("recipe", args=["FeBi-4"])))
    assert "without nickel mesh air electrode" in page
    assert "bismuth sulfide: 4 % of the iron becomes 6 % of the iron" in page
    assert 'href="/cells/SP-0413/"' in page


def test_a_recipe_is_written_and_revised_on_the_page(client, lead):
    iron = add_material(name="carbonyl iron", kind="iron", by=lead)
    sulfide = add_material(name="bismuth sulfide", kind="additive", by=lead)
    rows = {
        "parts-TOTAL_FORMS": "2",
        "parts-INITIAL_FORMS": "0",
        "parts-0-role": "iron",
        "parts-0-material": iron.pk,
        "parts-0-amount": "1,2",
        "parts-0-unit": "g",
        "parts-0-basis": "cell",
        "parts-1-role": "additive",
        "parts-1-material": sulfide.pk,
        "parts-1-amount": "4",
        "parts-1-unit": "%",
        "parts-1-basis": "iron",
    }
    client.post(reverse("new_recipe"), {"code": "FeBi-4", "title": "x", **rows})
    revision = RecipeRevision.objects.with_factors().get()
    assert (revision.iron, revision.additive_share) == ("carbonyl iron", 0.04)
    shown = text(client.get(reverse("revise_recipe", args=["FeBi-4"])))
    assert 'value="4"' in shown
    client.post(reverse("revise_recipe", args=["FeBi-4"]), {"because": "more", **rows, "parts-1-amount": "5"})
    assert RecipeRevision.objects.with_factors().get(number=2).additive_share == 0.05
    refused = client.post(reverse("new_recipe"), {"code": "a b", "title": "x", **rows})
    assert "is no code" in text(refused)
    begun = client.post(reverse("new_recipe"), {"code": "b", "title": "x", **rows, "parts-1-amount": ""})
    assert "Give this part its material and amount" in text(begun)
    assert Recipe.objects.count() == 1


def test_two_people_renaming_a_recipe_are_told(client, lead):
    make_revision("FeBi-4")
    address = reverse("recipe", args=["FeBi-4"])
    assert client.post(address, {"seen": 1, "title": "one", "note": ""}).status_code == 302
    late = client.post(address, {"seen": 1, "title": "two", "note": "my long note"})
    assert late.status_code == 409
    assert Recipe.objects.get().title == "one"
    both = text(late)
    assert "<td>one</td>" in both
    assert "<strong>two</strong>" in both
    assert "<strong>my long note</strong>" in both
    assert '<input type="hidden" name="seen" value="2">' in both
    again = {"seen": 2, "title": "two", "note": "my long note"}
    assert client.post(address, again).status_code == 302
    assert Recipe.objects.get().note == "my long note"


def test_a_build_takes_lots_and_cells(client, lead):
    revision = make_revision("FeBi-4")
    iron = Material.objects.get(name="carbonyl iron")
    lot = add_lot(material=iron, code="L-7", by=lead)
    address = reverse("new_build", args=["FeBi-4", 1])
    part = revision.parts.get(role="iron")
    client.post(address, {"code": "B-7", "built_on": "2031-01-20", f"lot_{part.pk}": lot.pk})
    build = Build.objects.get()
    assert build.lot_uses.get().lot == lot
    client.post(
        reverse("build", args=["B-7"]), {"code": "SP-9", "iron_mass_g": "1,188", "porosity": "62", "note": ""}
    )
    cell = Cell.objects.get()
    assert (cell.iron_mass_g, cell.porosity) == (1.188, 0.62)
    bad = client.post(reverse("build", args=["B-7"]), {"code": "SP-9", "porosity": "620"})
    assert "at most 100" in text(bad)


def test_a_cell_is_corrected_with_its_reason(client, lead):
    cell = make_cell("SP-9", porosity=0.62)
    shown = text(client.get(reverse("amend_cell", args=["SP-9"])))
    assert 'value="62"' in shown
    data = {"seen": 1, "iron_mass_g": "1.2", "porosity": "61,5", "reason": ""}
    assert "This field is required" in text(client.post(reverse("amend_cell", args=["SP-9"]), data))
    client.post(reverse("amend_cell", args=["SP-9"]), data | {"reason": "typing slip"})
    cell.refresh_from_db()
    assert (cell.iron_mass_g, cell.porosity) == (1.2, 0.615)


def test_tests_are_listed_filtered_and_taken_away(client, lead):
    make_test(make_cell("SP-1"), end="leak", temperature_C=25, chamber="C1")
    make_test(make_cell("SP-2"), end="lab_fault", temperature_C=45)
    make_test(make_cell("SP-3"))
    page = text(client.get(reverse("tests"), {"running": "no", "coldest": "30"}))
    assert "SP-2" in page
    assert "SP-1" not in page
    assert "SP-3" not in page
    assert "1 cell on test now" in page
    table = text(client.get(reverse("tests"), {"end": Term.objects.get(key="end.leak").pk, "export": "csv"}))
    assert table.splitlines()[1].startswith("SP-1,1,")
    assert len(table.splitlines()) == 2


def test_the_list_of_tests_holds_its_number_of_queries(client, lead, django_assert_num_queries):
    for _ in range(15):
        make_test(end="leak")
    client.get(reverse("tests"))
    with django_assert_num_queries(10):  # session, user, roles, what waits, three lists, running, count, rows
        client.get(reverse("tests"))


def test_a_test_is_started_moved_and_ended_on_the_page(client, lead):
    protocol = add_protocol(code="slow", title="slow", by=lead)
    one, two = add_chamber(name="C3", places=["1", "2"], by=lead).positions.all()
    make_cell("SP-1")
    moment = "%Y-%m-%dT%H:%M"
    start = (timezone.now() - dt.timedelta(days=9)).strftime(moment)
    sent = {
        "cell": "sp-1",
        "protocol": protocol.pk,
        "started_at": start,
        "position": one.pk,
        "set_temperature_C": "35",
    }
    client.post(reverse("start_test"), sent)
    test = Test.objects.get()
    again = client.post(reverse("start_test"), sent)
    assert "on test already" in text(again)
    moved = (timezone.now() - dt.timedelta(days=5)).strftime(moment)
    client.post(reverse("move_test", args=[test.pk]), {"move-moved_at": moved, "move-position": two.pk})
    end = Term.objects.get(key="end.lab_fault")
    late = {"end-ended_at": "2199-01-01T00:00", "end-end": end.pk}
    refused = client.post(reverse("end_test", args=[test.pk]), late)
    assert (refused.status_code, "lies in the future" in text(refused)) == (422, True)
    client.post(reverse("end_test", args=[test.pk]), late | {"end-ended_at": timezone.now().strftime(moment)})
    page = text(client.get(reverse("test", args=[test.pk])))
    assert "no failure, so the test is censored" in page
    assert test.seats.filter(until=None).count() == 0


def test_an_import_goes_from_table_to_books_on_the_page(client, lead):
    sent = client.post(reverse("imports"), {"table": SimpleUploadedFile("r.csv", RECIPES.encode())})
    delivery = Delivery.objects.get()
    assert sent["Location"] == reverse("import", args=[delivery.pk])
    page = text(client.get(sent["Location"]))
    assert "4 of 4 rows of recipes understood; nothing is written yet." in page
    assert "additive: bismuth sulfide, 4 % of the iron" in page.replace("<sub>2</sub>", "2")
    client.post(reverse("apply_import", args=[delivery.pk]))
    table = CELLS + "SP-3;B-1;2031-01-20;SPL-21;heavy;;;;;\n"
    client.post(reverse("imports"), {"table": SimpleUploadedFile("c.csv", table.encode("cp1252"))})
    second = Delivery.objects.latest("pk")
    page = text(client.get(reverse("import", args=[second.pk])))
    assert "2 of 3 rows of cells understood, 1 row refused" in page.replace("1 refused", "1 row refused")
    assert "“heavy” is not a number" in page
    assert "812,5 µm" in page
    assert "read as Windows-1252" in page
    assert "=HYPERLINK(&quot;http://x&quot;)" in page
    unsaid = client.post(reverse("apply_import", args=[second.pk]))
    assert unsaid.status_code == 422
    assert not Cell.objects.exists()
    client.post(reverse("apply_import", args=[second.pk]), {"leave_out_refused": "on"})
    assert Cell.objects.count() == 2
    client.post(reverse("withdraw_import", args=[second.pk]), {"reason": "wrong week"})
    assert not Cell.objects.exists()


def test_what_is_no_table_is_refused_on_the_page_in_words(client, lead):
    answer = client.post(reverse("imports"), {"table": SimpleUploadedFile("x.csv", b"a;b\n1;2\n")})
    assert answer.status_code == 422
    assert "neither those of recipes nor of cells" in text(answer)


def test_the_example_comes_as_it_may_be_sent_back(client, lead):
    for kind in ("cells.recipes", "cells.cells"):
        got = text(client.get(reverse("import_example", args=[kind])))
        client.post(reverse("imports"), {"table": SimpleUploadedFile("e.csv", got.encode())})
        delivery = Delivery.objects.latest("pk")
        assert (delivery.kind, delivery.refusals) == (kind, [])
        client.post(reverse("apply_import", args=[delivery.pk]))
    assert Cell.objects.count() == 2
    assert client.get(reverse("import_example", args=["nothing"])).status_code == 404


def test_studies_are_kept_and_changed(client, lead):
    make_cell("SP-1")
    make_cell("SP-2")
    client.post(reverse("studies"), {"name": "winter", "cells": "SP-1, SP-2"})
    study = Study.objects.get()
    address = reverse("study", args=[study.pk])
    assert "SP-2" in text(client.get(address))
    client.post(address, {"seen": 1, "name": "winter", "cells": "SP-1"})
    assert list(study.cells.values_list("code", flat=True)) == ["SP-1"]
    unknown = client.post(reverse("studies"), {"name": "x", "cells": "SP-1 SP-7"})
    assert "Not known: SP-7." in text(unknown)


def test_chambers_channels_and_protocols_are_noted(client, lead):
    client.post(reverse("chambers"), {"what": "chamber", "chamber-name": "C9", "chamber-places": "1 2"})
    client.post(reverse("chambers"), {"what": "channel", "channel-name": "ch1"})
    from teardown.cells.models import Channel

    client.post(
        reverse("chambers"),
        {
            "what": "accuracy",
            "accuracy-channel": Channel.objects.get().pk,
            "accuracy-range_A": "5",
            "accuracy-gain_pct": "0,05",
            "accuracy-offset_pct": "0.02",
            "accuracy-valid_from": "2030-01-01",
        },
    )
    page = text(client.get(reverse("chambers")))
    assert "C9" in page
    assert "0.05" in page
    client.post(
        reverse("protocols"),
        {"code": "slow", "title": "Slow", "capacity_limit": "60", "begins_with": "charge"},
    )
    shown = text(client.get(reverse("protocol", args=["slow"])))
    assert "60\u202f%" in shown
    client.post(
        reverse("protocol", args=["slow"]),
        {"capacity_limit": "70", "begins_with": "charge", "because": "gentler"},
    )
    assert "2 revisions" in text(client.get(reverse("protocol", args=["slow"])))


def test_a_guest_sees_no_test_of_an_open_cell_and_no_recipe(client):
    test = make_test(make_cell("SP-1"))
    client.force_login(make_user("guest"))
    assert "SP-1" not in text(client.get(reverse("tests")))
    assert client.get(reverse("test", args=[test.pk])).status_code == 404
    assert client.get(reverse("recipes")).status_code == 403
    assert "SP-1" not in text(client.get(reverse("chambers")))


def test_a_name_with_markup_is_shown_as_it_is_written(client, lead):
    add_material(name="<script>window.__x=1</script>", kind="other", by=lead)
    page = text(client.get(reverse("materials")))
    assert "<script>window" not in page
    assert "&lt;script&gt;window" in page

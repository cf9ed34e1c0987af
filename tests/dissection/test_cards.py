"""Cards, sheet and strip ask what the cell needs, and keep what was said on them."""

import pytest
from django.urls import reverse

from teardown.cells.models import Material
from teardown.dissection import actions as bench
from teardown.dissection.dossier.titration import titrations
from teardown.dissection.models import Entry, Instrument
from tests import makers
from tests.dissection.makers import ended, item, keep

pytestmark = pytest.mark.django_db


def test_the_stack_of_cards_asks_a_fixed_number_of_questions(
    signed_in, cell, chemist, django_assert_max_num_queries
):
    dissection = cell.dissection
    bench.all_the_same(dissection=dissection, term="iron.texture", answer="hard_plate", by=chemist)
    signed_in.get(reverse("bench_cell", args=["SP-0413"]))
    with django_assert_max_num_queries(32):
        signed_in.get(reverse("bench_cell", args=["SP-0413"]))


def test_the_card_shows_what_the_recipe_underlines_and_asks_for_no_acid(signed_in, cell):
    page = signed_in.get(reverse("bench_cell", args=["SP-0413"]), {"card": "titration"}).content.decode()
    assert "Sulfide and acid give hydrogen sulfide" in page
    assert "the recipe holds S" in page
    assert "it permits nothing" in page
    assert "No acid is asked for here" in page
    assert 'data-term="titration.first_mL"' not in page


def test_without_sulfide_the_readings_are_asked_for(signed_in, chemist):
    revision = makers.make_revision(additive="bismuth oxide")
    Material.objects.filter(name="bismuth oxide").update(constituents=["Bi"])
    ended("SP-0500", chemist, revision)
    page = signed_in.get(reverse("bench_cell", args=["SP-0500"]), {"card": "titration"}).content.decode()
    assert 'data-term="titration.first_mL"' in page


def test_a_card_without_script_keeps_an_answer(signed_in, cell):
    address = reverse("bench_cell", args=["SP-0413"])
    signed_in.post(
        address,
        {
            "card": "iron",
            "term": "iron.colour",
            "said": "answer:iron.colour.green",
            "place": "A.M2",
            "number": "1",
        },
    )
    signed_in.post(address, {"card": "weighing", "term": "mass.received_g", "value": "41,18"})
    assert [entry.said for entry in Entry.objects.current().with_words()] == ["green film", "41.18 g"]


def test_the_sheet_keeps_what_is_good_and_shows_what_is_not(signed_in, cell):
    address = reverse("bench_sheet", args=["SP-0413"])
    response = signed_in.post(
        address,
        {
            "form_key": "one",
            "SP-0413|mass.received_g||1||": "41.18",
            "SP-0413|electrical.rest_V||1||": "nine",
            "SP-0413|iron.shape|component.iron_electrode|1||": "answer:iron.shape.flat",
        },
    )
    assert response.status_code == 422
    assert Entry.objects.count() == 2
    assert "“nine” is not a number" in response.content.decode()
    assert 'value="nine"' in response.content.decode()


def test_a_strip_keeps_one_step_of_several_cells(signed_in, cell, chemist):
    ended("SP-0414", chemist)
    signed_in.post(
        reverse("bench_strip"),
        {"step": "weighing", "SP-0413|mass.received_g||1||": "41.18", "SP-0414|mass.received_g||1||": "40.9"},
    )
    assert {(e.dissection.cell.code, e.value) for e in Entry.objects.all()} == {
        ("SP-0413", 41.18),
        ("SP-0414", 40.9),
    }


def test_an_instrument_is_known_with_its_checks_and_shows_on_the_card(signed_in, cell, chemist):
    said = {"code": "bal-2", "name": "top-pan balance", "quantity": "mass", "u": "0,02", "unit": "g"}
    signed_in.post(reverse("instruments"), said)
    instrument = Instrument.objects.get()
    signed_in.post(
        reverse("instrument_check", args=[instrument.pk]), {"against": "50 g weight", "passed": "yes"}
    )
    assert "against 50 g weight" in signed_in.get(reverse("instruments")).content.decode()
    assert (
        'data-instrument="bal-2"' in signed_in.get(reverse("bench_cell", args=["SP-0413"])).content.decode()
    )
    keep(
        signed_in,
        item(value="41.18", instrument="bal-2"),
        item("electrical.rest_V", value="0.9", instrument="bal-2"),
    )
    entry = Entry.objects.get()
    assert (entry.instrument, entry.u) == (instrument, 0.02)


def test_set_up_is_carried_over_and_observations_never(signed_in, cell, chemist):
    other = ended("SP-0414", chemist)
    for term, said in (("place.atmosphere", {"answer": "nitrogen"}), ("place.blank", {"state": "present"})):
        bench.log_entry(dissection=cell.dissection, term=term, by=chemist, **said)
    bench.log_entry(dissection=cell.dissection, term="iron.shape", answer="flat", by=chemist)
    page = signed_in.get(reverse("bench_cell", args=["SP-0414"]), {"card": "place"}).content.decode()
    assert "set up as SP-0413 was" in page
    signed_in.post(reverse("bench_carry_over", args=["SP-0414"]), {"step": "place", "from": "SP-0413"})
    carried = other.dissection.entries.current()
    assert {entry.carried_over for entry in carried} == {True}
    assert carried.count() == 2
    signed_in.post(reverse("bench_carry_over", args=["SP-0414"]), {"step": "iron_whole", "from": "SP-0413"})
    assert carried.count() == 2


def test_a_titration_is_worked_out_from_its_readings(signed_in, cell, chemist, django_assert_num_queries):
    vial = bench.cut_sample(dissection=cell.dissection, component="electrolyte", by=chemist)
    for number, (first, second) in enumerate([("11.95", "13.10"), ("11.93", "13.12")]):
        aliquot = bench.cut_sample(parent=vial, by=chemist, purpose=f"aliquot {number + 1}")
        readings = {
            "sample_mL": "2.000",
            "made_up_mL": "100.0",
            "aliquot_mL": "10.00",
            "acid_mol_L": "0.1000",
            "first_mL": first,
            "second_mL": second,
        }
        for name, value in readings.items():
            bench.log_entry(
                dissection=cell.dissection,
                term=f"titration.{name}",
                value=value,
                sample=aliquot.code,
                by=chemist,
            )
    page = signed_in.get(reverse("bench_sheet", args=["SP-0413"])).content.decode()
    assert "Electrolyte by titration" in page
    assert "0.58" in page or "0.59" in page
    assert "sulfide" in page.lower()
    with django_assert_num_queries(3):  # readings, what superseded them, what the recipe holds
        (shown,) = titrations(cell.dissection)
    first = [aliquot.found.hydroxide.value for aliquot in shown.aliquots]
    for reading in Entry.objects.current().filter(term__key="titration.acid_mol_L").order_by("pk"):
        for value in ("0.1010", "0.1012"):
            reading = bench.amend(entry=reading, value=value, reason="instrument_out", by=chemist)
    with django_assert_num_queries(3):
        (shown,) = titrations(cell.dissection)
    before = [[aliquot.found.hydroxide.value for aliquot in each.aliquots] for each in shown.earlier]
    # hydroxide goes as the acid's concentration: as it stood before the last amendment of either aliquot
    assert before[0] == pytest.approx([1.010 * first[0], first[1]])
    assert before[1] == pytest.approx([1.012 * first[0], 1.010 * first[1]])
    withdrawn = Entry.objects.current().filter(term__key="titration.first_mL").order_by("pk")[0]
    bench.withdraw(entry=withdrawn, reason="typing_slip", by=chemist)
    (shown,) = titrations(cell.dissection)
    assert [sample.purpose for sample in shown.samples] == ["aliquot 1", "aliquot 2"]
    assert [aliquot.sample.purpose for aliquot in shown.aliquots] == ["aliquot 2"]

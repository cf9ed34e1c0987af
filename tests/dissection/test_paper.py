"""A sheet of paper becomes a record: its photograph is the original, critical numbers are keyed twice."""

import datetime as dt

import pytest
from django.core.files.base import ContentFile
from django.urls import reverse

from teardown.cells.models import Cell, Material
from teardown.dissection import actions as bench
from teardown.dissection.dossier.paper import keyed, paper_pdf, sheet_data
from teardown.dissection.models import Entry, Keying, Transcription
from teardown.dissection.rules.cards import is_keyed_twice
from teardown.findings.filters import ModesFilter
from teardown.vocabulary.models import Term
from tests import makers
from tests.dissection.makers import PNG, ended

pytestmark = pytest.mark.django_db
DAY = dt.date(2026, 3, 4)


def begin(client, **said):
    page = ContentFile(PNG, name="page 1.png")
    form = {"pages": page, "dated_on": "2026-03-04", "observer_named": "A. Former"} | said
    answer = client.post(reverse("paper_begin", args=["SP-0413"]), form)
    assert answer.status_code == 302, answer.content.decode()
    return Transcription.objects.get()


def type_in(client, sheet, **typed):
    names = {f"SP-0413|{slot.replace('__', '|')}": value for slot, value in typed.items()}
    return names


def post(client, sheet, data):
    return client.post(reverse("paper_type", args=["SP-0413", sheet.pk]), data)


MASS = "SP-0413|dry.mass_g|component.iron_electrode|1||"
SLOT = MASS.partition("|")[2]


def test_the_printed_sheet_holds_plan_cards_cautions_and_no_recipe(chemist, cell):
    bench.make_plan(cell=cell, by=chemist, questions=["Where did the capacity go?"], items=[
        {"component": "iron_electrode", "technique": "section", "place": "M2"}])  # fmt: skip
    cell = Cell.objects.get(pk=cell.pk)
    data = sheet_data(cell.dissection, makers.NOW)
    assert data["plan"] == [["iron electrode", "M2", "cross section, light or electron microscope", ""]]
    assert data["questions"] == ["Where did the capacity go?"]
    titles = [card["title"] for card in data["cards"]]
    assert titles.index("Arrival") < titles.index("Opened") < titles.index("Dry")
    assert all(card["cautions"] for card in data["cards"])
    assert cell.build.revision.recipe.code not in str(data)
    assert "Bi" in data["constituents"]  # what a caution must know is never hidden
    film = next(ask for card in data["cards"] for ask in card["asks"] if ask["words"] == "needles")
    assert (film["absent"], film["answers"]) == ("absent", ["trace", "some", "much", "nearly all"])


@pytest.mark.long
def test_the_printed_sheet_is_a_pdf(signed_in, chemist, cell):
    answer = signed_in.get(reverse("paper_sheets"), {"cell": "SP-0413"})
    assert answer.content.startswith(b"%PDF")
    assert len(paper_pdf([cell.dissection], makers.NOW)) > 10_000


def test_what_is_printed_needs_a_cell(signed_in):
    assert signed_in.get(reverse("paper_sheets")).status_code == 404


def test_a_sheet_needs_its_photograph_its_day_and_one_name(signed_in, chemist, cell):
    address = reverse("paper_begin", args=["SP-0413"])
    assert signed_in.post(address, {"dated_on": "2026-03-04"}).status_code == 422
    odd = {"pages": ContentFile(b"abc", name="page.png"), "dated_on": "2026-03-04"}
    assert "neither a picture nor a PDF" in signed_in.post(address, odd).content.decode()
    early = {"pages": ContentFile(PNG, name="page.png"), "dated_on": "2019-03-04"}
    assert "The cell was built on" in signed_in.post(address, early).content.decode()
    both = early | {"dated_on": "2026-03-04", "observer": chemist.pk, "observer_named": "A. Former"}
    assert "once" in signed_in.post(address, both).content.decode()
    assert not Transcription.objects.exists()


def test_what_is_typed_in_keeps_its_clock_and_its_original(signed_in, chemist, cell):
    sheet = begin(signed_in)
    post(signed_in, sheet, {
        "do": "type",
        "SP-0413|opening.opened||1||": "10:05",
        "SP-0413|iron.colour|component.iron_electrode|1|A.M2|": "answer:iron.colour.green",
        "clock|iron|A.M2": "10:11",
        "SP-0413|separator.growth|component.separator|1||": "state:absent",
    })  # fmt: skip
    colour = Entry.objects.get(term__key="iron.colour")
    assert (colour.place, colour.minutes_since_opening, colour.observed_precision) == ("A.M2", 6, "minute")
    assert (colour.seen_by, colour.transcribed_by, colour.source) == (
        "A. Former",
        str(chemist),
        "transcribed",
    )
    assert colour.transcription.pages.get().receipt.name == "page 1.png"
    growth = Entry.objects.get(term__key="separator.growth")
    assert (growth.state, growth.minutes_since_opening, growth.observed_precision) == ("absent", None, "day")
    assert Entry.objects.unconfirmed().count() == 0  # the sheet itself bears the signature
    told = signed_in.get(reverse("bench_sheet", args=["SP-0413"])).content.decode()
    assert "3 entries transcribed" in told
    assert "A. Former" in told
    shown = signed_in.get(reverse("entry", args=[colour.key])).content.decode()
    assert "Page 1 as photographed" in shown
    page = signed_in.get(reverse("cell", args=["SP-0413"])).content.decode()
    assert "3 transcribed from older records" in page


def test_a_critical_number_waits_and_its_first_keying_is_on_no_page(signed_in, cell):
    sheet = begin(signed_in)
    post(signed_in, sheet, {"do": "type", MASS: "3,417"})
    assert not Entry.objects.exists()
    page = signed_in.get(reverse("paper_type", args=["SP-0413", sheet.pk])).content.decode()
    assert "To be keyed again" in page
    assert "3,417" not in page
    assert "3.417" not in page


def test_two_keyings_alike_make_the_entry(signed_in, chemist, cell):
    sheet = begin(signed_in)
    post(signed_in, sheet, {"do": "type", MASS: "3,417"})
    post(signed_in, sheet, {"do": "again", f"again|{SLOT}": "3.417"})
    entry = Entry.objects.get()
    assert (entry.value, entry.value_text, entry.keyed_twice) == (3.417, "3,417", True)
    assert keyed(sheet).waiting == ()


def test_two_keyings_that_differ_are_asked_and_all_three_stay(signed_in, cell):
    sheet = begin(signed_in)
    post(signed_in, sheet, {"do": "type", MASS: "3.417"})
    post(signed_in, sheet, {"do": "again", f"again|{SLOT}": "3.471"})
    assert not Entry.objects.exists()
    page = signed_in.get(reverse("paper_type", args=["SP-0413", sheet.pk])).content.decode()
    assert "Keyed twice, and not alike" in page
    assert "3.417 g" in page
    assert "3.471 g" in page
    post(signed_in, sheet, {"do": "compare", f"compare|{SLOT}": "3.471"})
    entry = Entry.objects.get()
    assert (entry.value, entry.source_words) == (
        3.471, "on paper: keyed 3.417, then 3.471; compared with the sheet")  # fmt: skip
    assert [each.text for each in Keying.objects.all()] == ["3.417", "3.471", "3.471"]


def test_a_keying_that_cannot_be_is_refused_and_what_was_typed_stays(signed_in, cell):
    sheet = begin(signed_in)
    answer = post(signed_in, sheet, {"do": "type", MASS: "-3", "SP-0413|close.waste||1||": "alkaline bottle"})
    assert answer.status_code == 422
    assert "cannot be" in answer.content.decode()
    assert 'value="-3"' in answer.content.decode()
    assert Entry.objects.get().value_text == "alkaline bottle"  # one bad number blocks nothing else
    assert not Keying.objects.exists()


def test_masses_thicknesses_and_burette_readings_are_keyed_twice():
    twice = {term.key for term in Term.objects.of("field") if is_keyed_twice(term.data)}
    assert {"dry.mass_g", "electrolyte.tare_g", "mass.received_g", "iron.thickness_um", "titration.first_mL",
            "titration.second_mL", "part.mass_g"} <= twice  # fmt: skip
    assert not {"electrical.rest_V", "iron.colour", "level.mm"} & twice


def test_modes_can_be_asked_of_what_was_logged_here_alone(signed_in, chemist, cell):
    ended("SP-0414", chemist)
    sheet = begin(signed_in)
    post(signed_in, sheet, {"do": "type", "SP-0413|close.waste||1||": "alkaline bottle"})

    def asked(record):
        found = ModesFilter({"record": record}, queryset=Cell.objects.all())
        return {cell.code for cell in found.qs}

    assert (asked("transcribed"), asked("bench")) == ({"SP-0413"}, {"SP-0414"})
    assert "transcribed" in signed_in.get(reverse("modes")).content.decode()


def test_burette_readings_are_of_a_vial_of_the_cell_and_keyed_twice(signed_in, chemist):
    cell = ended("SP-0413", chemist, makers.make_revision(additive="carbon black"))
    Material.objects.update(constituents=["Fe", "K"])
    vial = bench.cut_sample(dissection=cell.dissection, component="electrolyte", by=chemist)
    sheet = begin(signed_in)
    readings = {"titration.first_mL": "11,95", "titration.second_mL": "13,10"}
    typed = {f"reading|1|{term}": value for term, value in readings.items()}
    wrong = post(signed_in, sheet, {"do": "type", "vial|1": "S7K2M9R4"} | typed)
    assert wrong.status_code == 422
    assert not Keying.objects.exists()
    post(signed_in, sheet, {"do": "type", "vial|1": vial.code.lower()} | typed)
    assert Keying.objects.count() == 2
    page = signed_in.get(reverse("paper_type", args=["SP-0413", sheet.pk])).content.decode()
    assert "11,95" not in page
    slots = {term: f"{term}|component.electrolyte|1||{vial.code}" for term in readings}
    post(signed_in, sheet, {"do": "again"} | {f"again|{slots[t]}": v for t, v in readings.items()})
    kept = {e.term.key: (e.value, e.sample, e.keyed_twice) for e in Entry.objects.filter(sample=vial)}
    assert kept == {"titration.first_mL": (11.95, vial, True), "titration.second_mL": (13.1, vial, True)}

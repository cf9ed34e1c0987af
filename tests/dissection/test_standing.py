"""What stands later: signatures with their meaning, amendments after them, what was known when, blinding."""

import datetime as dt

import pytest
from django.urls import reverse
from django.utils import timezone

from teardown.dissection import actions as bench
from teardown.dissection.dossier.lookback import look_back
from teardown.dissection.models import Entry, Signature
from teardown.dissection.models.closing import open_points, weighing_of
from teardown.records.models import Record
from teardown.vocabulary.models import Term, Version
from tests import makers
from tests.dissection.makers import PNG, ended

pytestmark = pytest.mark.django_db
PASSWORD = "a long enough one"


@pytest.fixture
def chemist():
    return makers.make_user("bench", username="chemist", password=PASSWORD)


@pytest.fixture
def reviewer():
    return makers.make_user("reviewer", username="reviewer", password=PASSWORD)


@pytest.fixture
def cell(chemist):
    return ended("SP-0413", chemist)


def closed(cell, chemist):
    bench.open_cell(dissection=cell.dissection, by=chemist)
    entry = bench.log_entry(dissection=cell.dissection, term="mass.received_g", value="41.18", by=chemist)
    bench.close(dissection=cell.dissection, by=chemist, answer="parts were not weighed")
    return entry


def test_what_is_amended_after_the_signature_is_shown_and_acknowledged_by_another(
    client, cell, chemist, reviewer
):
    entry = closed(cell, chemist)
    bench.amend(entry=entry, reason="misread", value="41.08", by=chemist)
    client.force_login(reviewer)
    page = client.get(reverse("bench_close", args=["SP-0413"])).content.decode()
    assert "closed as complete" in page
    assert "; 1 later" in page
    assert "<del>41.18 g</del>" in page
    address = reverse("bench_sign_later", args=["SP-0413"])
    client.post(address, {"meaning": "acknowledged", "password": "no"})
    assert Signature.objects.count() == 1
    client.post(address, {"meaning": "acknowledged", "password": PASSWORD})
    client.post(address, {"meaning": "reviewed", "password": PASSWORD})
    assert [s.meaning for s in Signature.objects.order_by("pk")] == ["closed", "acknowledged", "reviewed"]
    page = client.get(reverse("bench_close", args=["SP-0413"])).content.decode()
    assert "later amendment acknowledged" in page
    assert str(reviewer) in page


def test_who_closed_or_amended_does_not_sign_for_it(client, cell, chemist):
    lead = makers.make_user("lead", username="lead", password=PASSWORD)
    bench.open_cell(dissection=cell.dissection, by=lead)
    bench.close(dissection=cell.dissection, by=lead, answer="not weighed")
    client.force_login(lead)
    answer = client.post(
        reverse("bench_sign_later", args=["SP-0413"]),
        {"meaning": "reviewed", "password": PASSWORD},
        follow=True,
    )
    assert "another person reviews it" in answer.content.decode()


def test_a_day_of_the_past_shows_what_was_known_then(client, cell, chemist):
    then = timezone.now() - dt.timedelta(days=30)
    entry = bench.log_entry(
        dissection=cell.dissection, term="mass.received_g", value="41.18", by=chemist, at=then
    )
    bench.amend(entry=entry, reason="misread", value="41.08", by=chemist)
    client.force_login(chemist)
    address = reverse("bench_known", args=["SP-0413"])
    old = client.get(address, {"on": str((then + dt.timedelta(days=3)).date())}).content.decode()
    assert "41.18 g" in old
    assert "41.08 g" not in old
    now = client.get(address).content.decode()
    assert "41.08 g" in now
    assert "41.18 g" not in now
    assert "is no day" in client.get(address, {"on": "31/03/2031"}).content.decode()


def test_a_frequency_asked_as_known_then_gives_the_old_answer(chemist, cell):
    term = Term.objects.get(key="iron.shed")
    bench.log_entry(dissection=cell.dissection, term=term.key, state="absent", by=chemist)
    seq = Record.objects.order_by("seq").last().seq
    other = ended("SP-0414", chemist)
    bench.log_entry(dissection=other.dissection, term=term.key, state="present", extent="some", by=chemist)
    now, then = look_back(term, chemist), look_back(term, chemist, seq)
    assert (now.present, now.absent, now.asked, now.not_asked) == (1, 1, 2, 0)
    assert (then.present, then.absent, then.asked, then.not_asked) == (0, 1, 1, 0)


def test_a_field_that_came_later_reads_since_when_it_is_asked(client, cell, chemist):
    bench.open_cell(dissection=cell.dissection, by=chemist, at=timezone.now() - dt.timedelta(days=2))
    Version.objects.create(number=7, since=timezone.now())
    Term.objects.filter(key="iron.film_green").update(asked_since=Version.objects.get(number=7))
    client.force_login(chemist)
    page = client.get(reverse("bench_sheet", args=["SP-0413"])).content.decode()
    assert page.count("not asked: asked since version 7") == 1


def test_no_page_of_a_blinded_dissection_tells_recipe_or_curve(client, cell, chemist):
    recipe = cell.build.revision.recipe.code
    photograph = bench.add_photograph(file=PNG, dissection=cell.dissection, by=chemist)
    piece = bench.cut_sample(dissection=cell.dissection, component="iron_electrode", by=chemist)
    analyst = makers.make_user("analyst", "bench", username="analyst")  # may see recipes elsewhere
    pages = [
        ("bench", []), ("bench_cell", ["SP-0413"]), ("bench_sheet", ["SP-0413"]), ("bench_plan", ["SP-0413"]),
        ("bench_close", ["SP-0413"]), ("paper_begin", ["SP-0413"]), ("photographs", []), ("labels", []),
        ("photograph", [photograph.key]), ("sample", [piece.code]), ("samples", []), ("score_again_list", []),
    ]  # fmt: skip
    for person in (chemist, analyst):
        client.force_login(person)
        told = {
            name for name, args in pages
            for page in [client.get(reverse(name, args=args)).content.decode()]
            if recipe in page or "coulombic" in page or "Capacity of" in page
        }  # fmt: skip
        assert told == set()
    client.force_login(chemist)
    strip = client.get(reverse("bench"), {"step": "weighing"}).content.decode()
    assert recipe not in strip


def test_unblinding_needs_a_reason_is_recorded_and_said(client, cell, chemist):
    client.force_login(chemist)
    address = reverse("bench_unblind", args=["SP-0413"])
    client.post(address, {"reason": " "})
    cell.dissection.refresh_from_db()
    assert cell.dissection.blinded
    client.post(address, {"reason": "smell of solvent, recipe needed"})
    assert Record.objects.get(verb="unblinded").reason == "smell of solvent, recipe needed"
    assert (
        "smell of solvent, recipe needed"
        in client.get(reverse("bench_sheet", args=["SP-0413"])).content.decode()
    )


def test_a_late_look_at_a_photograph_of_a_day_invents_no_time(client, cell, chemist):
    photograph = bench.add_photograph(file=PNG, dissection=cell.dissection, by=chemist)
    bench.open_cell(dissection=cell.dissection, by=chemist, at=timezone.now() - dt.timedelta(hours=1))
    made = bench.log_entry(
        dissection=cell.dissection, term="iron.shed", state="absent", source="photo", photo=photograph.key,
        box=(0, 0, 1, 1), by=chemist, observed_at=photograph.taken_at, observed_precision="day",
    )  # fmt: skip
    assert Entry.objects.get(pk=made.pk).minutes_since_opening is None


def test_the_masses_close_over_parts_electrolyte_blots_sediment_and_named_losses(client, cell, chemist):
    """Received mass is the sum of what came apart; beyond two percent it is asked about, never refused."""
    masses = [
        {"term": "mass.received_g", "value": "41.20"},
        {"term": "part.mass_g", "component": "iron_electrode", "value": "6.50"},
        {"term": "part.mass_g", "component": "air_electrode", "value": "4.20"},
        {"term": "part.mass_g", "component": "case", "value": "11.30"},
        {"term": "electrolyte.tare_g", "value": "12.00"},
        {"term": "electrolyte.gross_g", "value": "30.40"},
        {"term": "electrolyte.blots_g", "value": "0.30"},
        {"term": "sediment.mass_mg", "component": "sediment", "value": "120"},
        {"term": "loss.named_g", "value": "0.20"},
    ]
    items = [item | {"confirmed_unusual": True} for item in masses]
    outcomes = bench.log_entries(dissection=cell.dissection, items=items, by=chemist)
    assert [outcome.state for outcome in outcomes] == ["kept"] * len(items)
    closure = weighing_of(cell.dissection)
    assert closure.residual_g == pytest.approx(41.20 - (6.5 + 4.2 + 11.3 + 18.4 + 0.3 + 0.12 + 0.2))
    assert closure.remarks == ()
    client.force_login(chemist)
    assert "0.18 g" in client.get(reverse("bench_sheet", args=["SP-0413"])).content.decode()
    entry = Entry.objects.get(term__key="part.mass_g", part__component__key="component.case")
    bench.amend(entry=entry, reason="misread", value="9.30", confirmed_unusual=True, by=chemist)
    assert [point.asks for point in open_points(cell.dissection) if point.key == "weighing"] == [True]

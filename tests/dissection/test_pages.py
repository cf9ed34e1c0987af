"""Every page of the bench answers, says who may, and keeps what was filled in."""

import datetime as dt
import uuid

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from teardown.dissection import actions as bench
from teardown.dissection.dossier.day import day_at_the_bench
from teardown.dissection.models import Dissection, Entry, Photograph, PlanTemplate, Sample
from teardown.files.store import keep as keep_file
from teardown.vocabulary.models import Term
from tests import makers
from tests.dissection.makers import PNG, ended

pytestmark = pytest.mark.django_db
SECTIONS = [
    {"component": "component.iron_electrode", "technique": "technique.section", "place": "M2"},
    {"component": "component.iron_electrode", "technique": "technique.section", "place": "T2"},
    {"component": "component.iron_electrode", "technique": "technique.diffraction", "place": "M2"},
]


@pytest.mark.parametrize(
    ("name", "args"),
    [
        ("bench", []), ("bench_cell", ["SP-0413"]), ("bench_sheet", ["SP-0413"]), ("bench_plan", ["SP-0413"]),
        ("bench_close", ["SP-0413"]), ("samples", []), ("labels", []), ("photographs", []), ("cautions", []),
        ("sample_cut", ["SP-0413"]), ("look_back", ["iron.film_green"]), ("bench_worker", []),
    ],
)  # fmt: skip
def test_the_page_answers(signed_in, cell, name, args):
    assert signed_in.get(reverse(name, args=args)).status_code == 200


def test_the_day_asks_no_more_for_more_cells(signed_in, cell, chemist, django_assert_max_num_queries):
    for _ in range(4):
        ended("", chemist)
    with django_assert_max_num_queries(16):
        signed_in.get(reverse("bench"), {"step": "weighing"})


def test_what_was_begun_today_stands_before_what_was_left_open(cell, chemist):
    today = dt.date(2031, 3, 4)
    for code, day in (("SP-0499", None), ("SP-0500", today)):
        made = ended(code, chemist)
        Dissection.objects.filter(pk=made.dissection.pk).update(day=day)
    Dissection.objects.filter(pk=cell.dissection.pk).update(day=today - dt.timedelta(days=3))
    rows = day_at_the_bench(chemist, today).rows
    assert [row.dissection.cell.code for row in rows] == ["SP-0500", "SP-0499", "SP-0413"]


def test_a_guest_does_not_see_a_cell_at_the_bench(client, cell):
    client.force_login(makers.make_user("guest"))
    assert client.get(reverse("bench_cell", args=["SP-0413"])).status_code == 403
    assert client.get(reverse("samples")).status_code == 200


def test_an_entry_is_amended_and_both_are_shown(signed_in, cell, chemist):
    entry = bench.log_entry(dissection=cell.dissection, term="iron.shape", answer="flat", by=chemist)
    signed_in.post(
        reverse("entry_amend", args=[entry.key]),
        {"said": "answer:iron.shape.swollen", "reason": "reason.misread"},
    )
    new = Entry.objects.current().get()
    page = signed_in.get(reverse("entry", args=[new.key])).content.decode()
    assert "flat" in page
    assert "swollen" in page
    assert "misread instrument" in page
    assert (
        signed_in.post(reverse("entry_amend", args=[new.key]), {"reason": "reason.misread"}).status_code
        == 422
    )
    signed_in.post(reverse("entry_withdraw", args=[new.key]), {"reason": "reason.duplicated"})
    assert not Entry.objects.current().exists()


def test_a_sample_is_named_handed_on_sent_and_mounted(signed_in, cell):
    signed_in.post(
        reverse("sample_cut", args=["SP-0413"]),
        {"component": "component.iron_electrode 1", "place": "m2", "to_place": "desiccator 1", "rinsed": ""},
    )
    sample = Sample.objects.get()
    assert (sample.place, sample.lies) == ("M2", "desiccator 1")
    signed_in.post(reverse("sample_send", args=[sample.code]), {"technique": "technique.diffraction"})
    order = sample.orders.get()
    signed_in.post(reverse("order_back", args=[order.pk]), {"state": "back", "seen": order.version})
    signed_in.post(reverse("sample_mount", args=[sample.code]), {"orientation": "across, air face up"})
    signed_in.post(reverse("mount_polish", args=["M-0001"]), {"abrasive": "silica", "lubricant": "water"})
    signed_in.post(reverse("sample_hand_over", args=[sample.code]), {"to_place": "archive"})
    page = signed_in.get(reverse("sample", args=[sample.code])).content.decode()
    assert "result is back" in page
    assert "water" in page
    assert "archive" in page
    assert signed_in.get(reverse("sample_read"), {"code": sample.code.lower()}).url.endswith(
        f"/{sample.code}/"
    )


def test_labels_are_set_as_a_pdf(signed_in, cell, chemist):
    sample = bench.cut_sample(dissection=cell.dissection, component="iron_electrode", place="M2", by=chemist)
    for size in ("small", "medium", "roll", "vial"):
        response = signed_in.get(reverse("labels"), {"codes": sample.code, "size": size, "fresh": "3"})
        assert response["Content-Type"] == "application/pdf"
        assert response.content.startswith(b"%PDF")
    refused = signed_in.get(reverse("labels"), {"codes": "7K2M9R42", "size": "small"})
    assert "misread" in refused.content.decode()


def test_closing_asks_for_the_password_and_signs(signed_in, cell, chemist):
    bench.open_cell(dissection=cell.dissection, by=chemist)
    address = reverse("bench_close", args=["SP-0413"])
    assert (
        "This is not your password"
        in signed_in.post(address, {"answer": "x", "password": "1234"}).content.decode()
    )
    signed_in.post(address, {"answer": "not weighed", "password": "a long enough one"})
    cell.refresh_from_db()
    assert cell.closed_at is not None


def test_plans_of_the_house_tell_the_blinded_no_recipe_and_fit_it(client, signed_in, cell, chemist):
    PlanTemplate.objects.create(name="Bismuth family, three sections", family="febi", items=SECTIONS)
    PlanTemplate.objects.create(name="Zinc family", family="zn-", items=SECTIONS)
    PlanTemplate.objects.create(name="Any of the house", items=SECTIONS[:1])
    address = reverse("bench_plan", args=["SP-0413"])
    page = signed_in.get(address).content.decode()
    words = {key: str(Term.objects.get(key=f"technique.{key}")) for key in ("section", "diffraction")}
    assert f"for cells such as this: 2 × {words['section']}; 1 × {words['diffraction']}" in page
    assert "for any cell: 1 ×" in page
    assert "family" not in page
    client.force_login(makers.make_user("analyst"))
    page = client.get(address).content.decode()
    assert "Bismuth family, three sections" in page
    assert "Zinc family" not in page


def test_a_plan_is_made_and_its_labels_follow(signed_in, cell):
    signed_in.post(
        reverse("bench_plan", args=["SP-0413"]), {"piece_0": "on", "piece_2": "on", "question_1": "Why?"}
    )
    assert cell.plan.items.count() == 2
    pdf = signed_in.get(reverse("labels"), {"cell": "SP-0413", "size": "small"})
    assert pdf.content.startswith(b"%PDF")


def test_a_caution_is_revised_by_the_lead_alone(client, signed_in, cell):
    assert signed_in.get(reverse("caution", args=["alkali"])).status_code == 403
    client.force_login(makers.make_user("lead"))
    page = client.get(reverse("caution", args=["alkali"]))
    form = page.context["form"]
    client.post(
        reverse("caution", args=["alkali"]),
        {name: form.initial[name] or "" for name in form.fields if name not in ("retired", "review_by")}
        | {"lab_text": "Ask the person on duty."},
    )
    assert "Ask the person on duty." in client.get(reverse("cautions")).content.decode()


def test_looking_back_gives_old_cells_an_answer_from_a_photograph(signed_in, cell, chemist):
    photograph = bench.add_photograph(
        file=PNG, dissection=cell.dissection, by=chemist, taken_at=timezone.now() - dt.timedelta(days=30)
    )
    bench.label_photograph(
        photograph=photograph, component="iron_electrode", frame="face B, whole", by=chemist
    )
    listed = signed_in.get(reverse("look_back", args=["iron.film_green"])).content.decode()
    assert str(photograph.key) in listed
    signed_in.post(
        reverse("look_back_at", args=["iron.film_green", photograph.key]),
        {"said": "extent:some", "left": "0,1", "top": "0.2", "right": "0.5", "bottom": "0.6"},
    )
    entry = Entry.objects.current().get()
    assert (entry.source, entry.photo, entry.box, entry.extent) == (
        "photo",
        photograph,
        [0.1, 0.2, 0.5, 0.6],
        "some",
    )
    assert entry.late_by >= dt.timedelta(days=30)


def test_looking_back_may_be_at_one_face_and_the_first_minutes(signed_in, cell, chemist):
    for place, minutes in (("A", 3), ("B", 4), ("B", 30)):
        shown = Photograph.objects.create(
            key=uuid.uuid4(), dissection=cell.dissection, by=chemist, taken_at=timezone.now(),
            receipt=keep_file(f"{place}{minutes}".encode(), by=chemist), minutes_since_opening=minutes,
        )  # fmt: skip
        bench.label_photograph(photograph=shown, by=chemist, component="iron_electrode", place=place)
    address = reverse("look_back", args=["iron.film_green"])
    for asked, number in (
        ({}, 3),
        ({"face": "B"}, 2),
        ({"face": "B", "within": "10"}, 1),
        ({"within": "x"}, 3),
    ):
        page = signed_in.get(address, asked).content.decode()
        assert page.count('<figure class="photograph">') == number
    assert "?face=B&amp;within=10" in signed_in.get(address, {"face": "B", "within": "10"}).content.decode()


@pytest.mark.parametrize("name", ["samples", "photographs", "bench_sheet", "bench_close", "look_back"])
def test_a_list_asks_no_more_for_more_rows(signed_in, cell, chemist, name, django_assert_max_num_queries):
    args = {"bench_sheet": ["SP-0413"], "bench_close": ["SP-0413"], "look_back": ["iron.film_green"]}.get(
        name, []
    )
    address = reverse(name, args=args)

    def more():
        piece = bench.cut_sample(
            dissection=cell.dissection, component="iron_electrode", place="M2", by=chemist
        )
        bench.hand_over(sample=piece, to_place="desiccator 1", by=chemist)
        bench.cut_sample(parent=piece, by=chemist)
        photograph = bench.add_photograph(file=PNG, dissection=cell.dissection, by=chemist, size_px=(1, 1))
        bench.label_photograph(photograph=photograph, component="iron_electrode", by=chemist)
        for place in ("A.M2", "B.T1"):
            bench.log_entry(
                dissection=cell.dissection, term="iron.colour", answer="green", place=place, by=chemist
            )

    more()
    signed_in.get(address)
    with CaptureQueriesContext(connection) as first:
        signed_in.get(address)
    more()
    more()
    with django_assert_max_num_queries(len(first)):
        signed_in.get(address)

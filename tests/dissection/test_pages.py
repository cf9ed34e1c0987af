"""Every page of the bench answers, says who may, and keeps what was filled in."""

import datetime as dt
import json
import uuid

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from teardown.cells.models import Material
from teardown.dissection import actions as bench
from teardown.dissection.models import BenchSession, Entry, Instrument, Photograph, Sample
from tests import makers
from tests.dissection.test_deeds import PNG

pytestmark = pytest.mark.django_db


@pytest.fixture
def chemist():
    return makers.make_user("bench", username="chemist", password="a long enough one")


def ended(code, chemist, revision=None):
    """Make a cell whose dissection was begun, built long enough ago for the clock of this machine."""
    build = makers.make_build(revision)
    build.built_on = dt.date(2020, 1, 1)
    build.save()
    made = makers.make_cell(code, build=build)
    makers.make_test(made, end="capacity_limit")
    bench.start_dissection(cell=made, by=chemist)
    return made


@pytest.fixture
def cell(chemist):
    return ended("SP-0413", chemist)


@pytest.fixture
def signed_in(client, chemist):
    client.force_login(chemist)
    return client


def keep(client, *items):
    response = client.post(
        reverse("bench_keep"), json.dumps({"items": items}), content_type="application/json"
    )
    assert response.status_code == 200, response.content
    return response.json()["answers"]


def item(term="mass.received_g", kind="entry", cell="SP-0413", **said):
    return {"key": str(uuid.uuid4()), "kind": kind, "cell": cell, "said": {"term": term} | said}


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


def test_the_stack_of_cards_asks_a_fixed_number_of_questions(
    signed_in, cell, chemist, django_assert_max_num_queries
):
    dissection = cell.dissection
    bench.all_the_same(dissection=dissection, term="iron.texture", answer="hard_plate", by=chemist)
    signed_in.get(reverse("bench_cell", args=["SP-0413"]))
    with django_assert_max_num_queries(32):
        signed_in.get(reverse("bench_cell", args=["SP-0413"]))


def test_the_day_asks_no_more_for_more_cells(signed_in, cell, chemist, django_assert_max_num_queries):
    for _ in range(4):
        ended("", chemist)
    with django_assert_max_num_queries(16):
        signed_in.get(reverse("bench"), {"step": "weighing"})


def test_a_guest_does_not_see_a_cell_at_the_bench(client, cell):
    client.force_login(makers.make_user("guest"))
    assert client.get(reverse("bench_cell", args=["SP-0413"])).status_code == 403
    assert client.get(reverse("samples")).status_code == 200


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
    assert [entry.said for entry in Entry.objects.current().with_words()] == ["green film", "41,18 g"]


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


def test_a_queue_is_kept_once_however_often_it_comes(signed_in, cell):
    items = [item(value="41.18"), item("iron.colour", answer="green", place="A.M2"), item("nothing.known")]
    first, again = keep(signed_in, *items), keep(signed_in, *items)
    assert [answer["state"] for answer in first] == ["kept", "kept", "refused"]
    assert [answer["state"] for answer in again] == ["kept already", "kept already", "refused"]
    assert Entry.objects.count() == 2


def test_amend_withdraw_all_and_move_come_by_the_queue(signed_in, cell, chemist):
    ended("SP-0414", chemist)
    said = item(value="41.18")
    amended = item(kind="amend") | {
        "target": said["key"],
        "said": {"value": "41.81", "reason": "typing_slip"},
    }
    same = item("iron.texture", kind="all", answer="hard_plate")
    wrong = item("separator.state", answer="tear")
    move = item(kind="move", cell="SP-0414") | {"targets": [wrong["key"]]}
    gone = item("arrival.condition", answer="intact")
    taken = item(kind="withdraw") | {"target": gone["key"], "said": {"reason": "typing_slip"}}
    answers = keep(signed_in, said, amended, same, wrong, move, gone, taken)
    assert {answer["state"] for answer in answers} == {"kept"}
    shown = {
        "key": str(uuid.uuid4()),
        "kind": "caution",
        "cell": "SP-0413",
        "said": {"step": "dry", "read": True},
    }
    assert [keep(signed_in, shown)[0]["state"] for _ in range(2)] == ["kept", "kept"]
    assert cell.dissection.cautions_shown.filter(step="dry", card__key="self_heating", read=True).count() == 1
    assert {a["state"] for a in keep(signed_in, said, amended, same, wrong, move, gone, taken)} <= {
        "kept already",
        "kept",
    }
    current = Entry.objects.current()
    assert current.filter(term__key="mass.received_g").get().value_text == "41.81"
    assert current.filter(uniform=True).count() == 18
    assert current.get(term__key="separator.state").dissection.cell.code == "SP-0414"
    assert not current.filter(term__key="arrival.condition").exists()


@pytest.mark.parametrize("body", ["", "[]", '{"items": 3}', '{"items": [3, null, {"kind": "entry"}]}', "{"])
def test_whatever_a_tablet_sends_never_breaks_the_server(signed_in, cell, body):
    response = signed_in.post(reverse("bench_keep"), body, content_type="application/json")
    assert response.status_code in (200, 400)


def test_an_item_speaks_for_the_person_of_its_sitting(signed_in, cell):
    other = makers.make_user("bench", username="hands")
    bench.begin_session(by=other, credential="s" * 40)
    keep(signed_in, item(value="41.18") | {"credential": "s" * 40})
    entry = Entry.objects.get()
    assert (entry.observer, entry.scribe) == (other, None)
    assert entry.session == BenchSession.objects.get()


def test_a_pin_begins_a_sitting_and_five_wrong_ones_close_the_door(signed_in, cell):
    from teardown.accounts.actions import set_pin

    other = makers.make_user("bench", username=f"hands{uuid.uuid4().hex[:6]}")
    set_pin(user=other, pin="4711")
    said = {"username": other.username, "credential": "c" * 40}
    assert signed_in.post(reverse("bench_person"), said | {"pin": "4711"}).status_code == 200
    answers = [signed_in.post(reverse("bench_person"), said | {"pin": "0000"}) for _ in range(6)]
    assert {answer.status_code for answer in answers} == {422}
    words = [answer.json()["error"] for answer in answers]
    assert words[0] == "Name and PIN do not fit. 4 more tries."
    assert words[3] == "Name and PIN do not fit. 1 more try."
    assert "nobody gets in by PIN under this name for another 15 minutes" in words[4]
    right = signed_in.post(reverse("bench_person"), said | {"pin": "4711"})
    assert "wrong PINs" in right.json()["error"]
    assert BenchSession.objects.filter(person=other).count() == 1


def test_who_may_not_log_is_told_so_after_their_pin(signed_in, cell):
    from teardown.accounts.actions import set_pin

    guest = makers.make_user("guest", username="visitor")
    set_pin(user=guest, pin="4711")
    said = {"username": "visitor", "credential": "c" * 40, "pin": "4711"}
    answer = signed_in.post(reverse("bench_person"), said)
    assert answer.status_code == 422
    assert answer.json()["error"].startswith("Only bench chemists")


def test_a_photograph_of_a_queue_is_kept_once(signed_in, cell):
    from django.core.files.uploadedfile import SimpleUploadedFile

    key = str(uuid.uuid4())
    for _ in range(2):
        response = signed_in.post(
            reverse("bench_keep_photograph"),
            {
                "key": key,
                "cell": "SP-0413",
                "file": SimpleUploadedFile("1.png", PNG),
                "frame": "outside, front",
            },
        )
        assert response.json()["state"] == "kept"
    photograph = Photograph.objects.get()
    assert photograph.label.frame == "outside, front"
    assert (photograph.width_px, photograph.height_px) == (1, 1)
    picture = signed_in.get(reverse("photograph_picture", args=[key, "small"]))
    assert picture.content.startswith(b"\xff\xd8\xff")
    assert signed_in.get(reverse("photograph", args=[key])).status_code == 200


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


def test_a_titration_is_worked_out_from_its_readings(signed_in, cell, chemist):
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

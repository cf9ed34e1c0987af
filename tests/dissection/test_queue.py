"""What a tablet sends is kept once, said by whom it was said, and never breaks the server."""

import uuid

import pytest
from django.urls import reverse

from teardown.dissection import actions as bench
from teardown.dissection.models import BenchSession, Entry, Photograph
from tests import makers
from tests.dissection.makers import PNG, ended, item, keep

pytestmark = pytest.mark.django_db


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

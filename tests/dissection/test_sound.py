"""A spoken note is kept bit for bit; what it says is typed by a person."""

import datetime as dt
import json
import uuid

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from teardown.dissection import actions as bench
from teardown.dissection.actions import sound
from teardown.dissection.models import AudioNote, Entry
from teardown.files.models import StoredFile
from teardown.files.store import read
from tests import makers
from tests.dissection.makers import ended
from tests.formats.test_sound import webm
from tests.makers import NOW

pytestmark = pytest.mark.django_db
SPOKEN = webm(2)
LATER = NOW + dt.timedelta(minutes=9)


@pytest.fixture
def chemist():
    return makers.make_user("bench", username="chemist")


@pytest.fixture
def dissection(chemist):
    started = ended("SP-0413", chemist).dissection
    bench.open_cell(dissection=started, by=chemist, at=NOW)
    return started


def note(dissection, by, **more):
    at = NOW + dt.timedelta(minutes=7)
    return bench.add_audio_note(**{"file": SPOKEN, "dissection": dissection, "by": by, "at": at} | more)


def test_a_note_is_kept_as_it_was_with_its_time_since_opening(dissection, chemist):
    kept = note(dissection, chemist, seconds=12.5, step="iron")
    assert read(kept.receipt.file) == SPOKEN
    assert (kept.container, kept.minutes_since_opening, kept.seconds) == ("webm", 7, 12.5)


def test_a_repeat_gives_the_first_and_other_bytes_are_a_conflict(dissection, chemist):
    key = uuid.uuid4()
    first = note(dissection, chemist, key=key, gist="gas at the seal")
    assert note(dissection, chemist, key=key, gist="gas at the seal") == first
    assert Entry.objects.filter(audio=first).count() == 1
    with pytest.raises(ValidationError, match="under the same key"):
        note(dissection, chemist, key=key, file=webm(2, known=False))


def test_the_gist_is_an_entry_of_the_time_at_which_it_was_spoken(dissection, chemist):
    spoken = note(dissection, chemist)
    typed = bench.type_gist(
        note=spoken, words="  gas at\nthe seal ", by=makers.make_user("analyst"), at=LATER
    )
    assert (typed.said, typed.observed_at, typed.audio) == ("gas at the seal", spoken.spoken_at, spoken)
    amended = bench.amend(entry=typed, value="gas at the vent", reason="misread", by=chemist, at=LATER)
    assert amended.audio == spoken
    assert [entry.said for entry in AudioNote.objects.with_gist().get().typed] == ["gas at the vent"]


@pytest.mark.parametrize("words", ["", "   ", "a" * 161])
def test_a_gist_is_one_line(dissection, chemist, words):
    with pytest.raises(ValidationError, match="one line of 1 to 160"):
        bench.type_gist(note=note(dissection, chemist), words=words, by=chemist, at=LATER)


def test_what_is_no_recording_is_refused_and_its_bytes_are_kept(dissection, chemist):
    with pytest.raises(ValidationError, match="as no spoken note"):
        note(dissection, chemist, file=b"<html><script>")
    assert (AudioNote.objects.count(), StoredFile.objects.count()) == (0, 1)


def test_too_large_a_note_is_refused_before_it_is_kept(dissection, chemist, monkeypatch):
    monkeypatch.setattr(sound, "LARGEST_BYTES", 2**20)
    with pytest.raises(ValidationError, match="2 MB is more than the 1 MB"):
        note(dissection, chemist, file=SPOKEN + bytes(2**21))
    assert not StoredFile.objects.exists()


def test_a_guest_speaks_no_note(dissection):
    with pytest.raises(PermissionDenied):
        note(dissection, makers.make_user("guest"))


def test_a_queue_hands_in_the_note_and_then_its_line(client, dissection, chemist):
    client.force_login(chemist)
    key = str(uuid.uuid4())
    line = {"key": str(uuid.uuid4()), "kind": "entry", "cell": "SP-0413"}
    line["said"] = {"term": "note.audio", "value": "gas at the seal", "audio": key}

    def hand_in():
        body = json.dumps({"items": [line]})
        return client.post(reverse("bench_keep"), body, content_type="application/json").json()["answers"][0]

    assert "is not here yet" in hand_in()["sentences"][0]
    for _ in range(2):
        answer = client.post(
            reverse("bench_keep_audio"),
            {
                "key": key,
                "cell": "SP-0413",
                "seconds": "3.5",
                "file": SimpleUploadedFile("note.webm", SPOKEN),
            },
        )
        assert answer.json()["state"] == "kept"
    assert hand_in()["state"] == "kept"
    assert Entry.objects.get(audio__key=key).said == "gas at the seal"
    sheet = client.get(reverse("bench_sheet", args=["SP-0413"])).content.decode()
    assert "gas at the seal" in sheet
    assert "Download the recording" in sheet


def test_what_a_tablet_calls_a_note_and_is_none_comes_back_in_words(client, dissection, chemist):
    client.force_login(chemist)
    upload = SimpleUploadedFile("note.webm", b"<html><script>")
    said = {"key": str(uuid.uuid4()), "cell": "SP-0413", "file": upload}
    answer = client.post(reverse("bench_keep_audio"), said)
    assert (answer.status_code, answer.json()["state"]) == (422, "refused")
    assert "as no spoken note" in answer.json()["sentences"][0]


def test_the_line_is_typed_at_the_desk(client, dissection, chemist):
    client.force_login(chemist)
    spoken = note(dissection, chemist, at=None)
    address = reverse("audio_gist", args=["SP-0413", spoken.key])
    assert client.post(address, {"gist": ""}).status_code == 302
    client.post(address, {"gist": "gas at the seal"})
    assert [entry.said for entry in AudioNote.objects.with_gist().get().typed] == ["gas at the seal"]

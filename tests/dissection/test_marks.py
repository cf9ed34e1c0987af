"""Corners fix the electrode on a photograph; places and outlines are read off it, and only ever added to."""

import datetime as dt

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from teardown.dissection import actions as bench
from teardown.dissection.models import Entry, Outline, PhotoFrame, Sample
from teardown.records.models import Record
from tests import makers
from tests.dissection.makers import PNG, ended
from tests.makers import NOW

pytestmark = pytest.mark.django_db
CORNERS = [(0.2, 0.1), (0.8, 0.1), (0.8, 0.9), (0.2, 0.9)]
LEANING = [(0.1, 0.1), (0.9, 0.3), (0.8, 0.8), (0.2, 0.9)]


@pytest.fixture
def chemist():
    return makers.make_user("bench", username="chemist")


@pytest.fixture
def dissection(chemist):
    cell = makers.make_cell("SP-0413")
    makers.make_test(cell, end="capacity_limit")
    started = bench.start_dissection(cell=cell, by=chemist, at=NOW)
    bench.open_cell(dissection=started, by=chemist, at=NOW)
    return started


@pytest.fixture
def photograph(dissection, chemist):
    return bench.add_photograph(file=PNG, name="1.png", dissection=dissection, by=chemist, at=NOW)


def test_a_point_on_a_photograph_becomes_an_address(photograph, chemist):
    bench.fix_electrode(photograph=photograph, corners=LEANING, face="A", by=chemist)
    x, y = PhotoFrame.objects.on(photograph).frame.to_picture(0.42, 0.61)
    label = bench.mark_place(photograph=photograph, x=x, y=y, by=chemist)
    assert (label.place, label.x, label.y) == ("A.M2", pytest.approx(0.42), pytest.approx(0.61))
    assert str(label.part) == "iron electrode"


def test_what_the_label_said_besides_stays(photograph, chemist):
    bench.label_photograph(photograph=photograph, frame="face A, whole", caption="wet", by=chemist)
    bench.fix_electrode(photograph=photograph, corners=CORNERS, face="B", by=chemist)
    label = bench.mark_place(photograph=photograph, x=0.25, y=0.15, by=chemist)
    assert label.words == "iron electrode, B.T3, face A, whole, wet"


def test_corners_tapped_again_count_and_the_first_stay(photograph, chemist):
    first = bench.fix_electrode(photograph=photograph, corners=CORNERS, face="A", by=chemist)
    bench.fix_electrode(photograph=photograph, corners=LEANING, face="A", by=chemist)
    assert PhotoFrame.objects.on(photograph).supersedes == first
    assert PhotoFrame.objects.count() == 2
    assert Record.objects.filter(verb="fixed the corners of").count() == 2


def test_without_corners_a_point_has_no_address(photograph, chemist):
    with pytest.raises(ValidationError, match="four corners of the electrode first"):
        bench.mark_place(photograph=photograph, x=0.5, y=0.5, by=chemist)
    bench.fix_electrode(photograph=photograph, corners=CORNERS, face="A", by=chemist)
    with pytest.raises(ValidationError, match="off the electrode"):
        bench.mark_place(photograph=photograph, x=0.05, y=0.5, by=chemist)


@pytest.mark.parametrize(
    ("corners", "face", "said"),
    [(CORNERS[:3], "A", "3 were tapped"), (CORNERS[::-1], "A", "Tap top left"), (CORNERS, "C", "A or B")],
)
def test_what_is_no_electrode_leaves_nothing(photograph, chemist, corners, face, said):
    with pytest.raises(ValidationError, match=said):
        bench.fix_electrode(photograph=photograph, corners=corners, face=face, by=chemist)
    assert not PhotoFrame.objects.exists()


def piece_of(dissection, chemist):
    return bench.cut_sample(dissection=dissection, component="iron_electrode", place="M2", by=chemist, at=NOW)


def test_an_outline_is_known_on_the_electrode_too(photograph, dissection, chemist):
    frame = bench.fix_electrode(photograph=photograph, corners=LEANING, face="B", by=chemist).frame
    square = [(0.4, 0.4), (0.6, 0.4), (0.6, 0.6), (0.4, 0.6)]
    outline = bench.outline_piece(
        sample=piece_of(dissection, chemist), photograph=photograph, by=chemist,
        points=[frame.to_picture(x, y) for x, y in square],
    )  # fmt: skip
    assert [pytest.approx(point, abs=1e-9) for point in outline.on_electrode] == square


def test_a_piece_that_lies_beside_the_electrode_lies_nowhere_on_it(photograph, dissection, chemist):
    bench.fix_electrode(photograph=photograph, corners=CORNERS, face="A", by=chemist)
    piece = piece_of(dissection, chemist)
    beside = bench.outline_piece(
        sample=piece, photograph=photograph, points=[(0, 0), (0.1, 0), (0.1, 0.2)], by=chemist
    )
    assert beside.on_electrode == ()
    again = bench.outline_piece(
        sample=piece, photograph=photograph, points=[(0.3, 0.3), (0.4, 0.3), (0.4, 0.5)], by=chemist
    )
    assert piece.outlines.current().get() == again
    assert again.on_electrode[0] == pytest.approx((1 / 6, 1 / 4))


def test_an_outline_is_of_a_piece_of_the_cell_that_is_shown(photograph, chemist):
    other = makers.make_cell("SP-0414")
    makers.make_test(other, end="capacity_limit")
    piece = piece_of(bench.start_dissection(cell=other, by=chemist, at=NOW), chemist)
    points = [(0.1, 0.1), (0.2, 0.1), (0.2, 0.2)]
    with pytest.raises(ValidationError, match="not of the cell"):
        bench.outline_piece(sample=piece, photograph=photograph, points=points, by=chemist)
    with pytest.raises(ValidationError, match="crosses itself"):
        bench.outline_piece(
            sample=piece, photograph=photograph, points=[(0, 0), (1, 1), (1, 0), (0, 1)], by=chemist
        )
    with pytest.raises(PermissionDenied):
        bench.outline_piece(sample=piece, photograph=photograph, points=points, by=makers.make_user("guest"))
    assert not Outline.objects.exists()


def test_a_point_stays_with_its_entry_and_through_an_amendment(dissection, chemist):
    entry = bench.log_entry(
        dissection=dissection, term="iron.colour", answer="green", place="A.M2", x=0.42, y=0.61, by=chemist,
        at=NOW + dt.timedelta(minutes=6),
    )  # fmt: skip
    assert (entry.place, entry.point) == ("A.M2", "42 % across, 61 % down")
    new = bench.amend(entry=entry, answer="white", reason="misread", by=chemist)
    assert (new.x, new.y) == (0.42, 0.61)
    assert Entry.objects.get(pk=entry.pk).x == 0.42


def test_a_point_on_a_bare_face_gets_its_address_and_a_wrong_one_is_refused(dissection, chemist):
    said = {"dissection": dissection, "term": "iron.colour", "answer": "green", "by": chemist, "at": NOW}
    assert bench.log_entry(place="B", x=0.9, y=0.1, **said).place == "B.T3"
    with pytest.raises(ValidationError, match=r"lies in A.T3, not in A.T1"):
        bench.log_entry(place="A.T1", x=0.9, y=0.1, **said)


@pytest.fixture
def signed_in(client, chemist):
    client.force_login(chemist)
    return client


def test_points_typed_in_percent_fix_mark_and_outline(signed_in, photograph, dissection, chemist):
    at = {
        name: reverse(f"photograph_{name}", args=[photograph.key]) for name in ("corners", "place", "outline")
    }
    corners = "20 10; 80 10; 80 90; 20,0 90"
    part = "component.iron_electrode 1"
    signed_in.post(at["corners"], {"face": "A", "part": part, "corners": corners})
    signed_in.post(at["place"], {"point": "50 50"})
    piece = piece_of(dissection, chemist)
    signed_in.post(at["outline"], {"sample": piece.code, "points": "40 40; 60 40; 60 60"})
    assert photograph.labels.current().get().place == "A.M2"
    assert piece.outlines.get().on_electrode[0] == pytest.approx((1 / 3, 3 / 8))
    page = signed_in.get(reverse("photograph", args=[photograph.key])).content.decode()
    assert "A.M2, 50 % across, 50 % down" in page
    assert piece.code in page


@pytest.mark.parametrize(
    ("corners", "said"),
    [
        ("20 10; 80 10", "2 were tapped"), ("20 10; 80", "“80” is no point"),
        ("20 10; 800 10", "off the picture"), ("", "This field is required"),
        ("20 10; eighty 10", "is no point"),
    ],
)  # fmt: skip
def test_what_is_no_point_is_told_and_nothing_is_kept(signed_in, photograph, corners, said):
    address = reverse("photograph_corners", args=[photograph.key])
    answer = signed_in.post(
        address, {"face": "A", "part": "component.iron_electrode 1", "corners": corners}, follow=True
    )
    assert said in answer.content.decode()
    assert not PhotoFrame.objects.exists()


def test_a_piece_is_cut_and_named_with_its_outline_and_its_place_read_off(signed_in, chemist):
    of_today = ended("SP-0600", chemist).dissection
    photograph = bench.add_photograph(file=PNG, name="1.png", dissection=of_today, by=chemist)
    bench.fix_electrode(photograph=photograph, corners=CORNERS, face="A", by=chemist)
    said = {"component": "component.iron_electrode 1", "photograph": str(photograph.key)}
    address = reverse("sample_cut", args=["SP-0600"])
    crossing = signed_in.post(address, said | {"points": "10 10; 90 90; 90 10; 10 90"})
    assert "crosses itself" in crossing.content.decode()
    assert not Outline.objects.exists()
    assert not Sample.objects.exists()
    signed_in.post(address, said | {"points": "45 45; 55 45; 55 55; 45 55"})
    piece = Sample.objects.get()
    assert (piece.place, piece.outlines.count()) == ("A.M2", 1)
    assert 'class="piece"' in signed_in.get(reverse("sample", args=[piece.code])).content.decode()


def test_a_still_without_a_code_or_no_picture_is_told(signed_in):
    def ask(content):
        upload = SimpleUploadedFile("1.png", content)
        return signed_in.post(
            reverse("sample_read_still"), {"file": upload}, headers={"accept": "application/json"}
        )

    still = ask(PNG)
    assert (still.status_code, "No code can be read" in still.json()["error"]) == (422, True)
    assert "cannot be opened" in ask(b"words").json()["error"]
    nothing = signed_in.post(reverse("sample_read_still"), follow=True)
    assert "No photograph" in nothing.content.decode()

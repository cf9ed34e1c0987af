"""Pages of micrographs: what they show, to whom, with how many queries."""

import io
import zipfile

import numpy as np
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from PIL import Image

from teardown.files.tasks import work_off
from teardown.imaging.actions import add_micrograph, draw_region
from teardown.imaging.models import Micrograph, Review, ScaleClaim, SectionResult
from tests.imaging.pictures import make_sample, section_file
from tests.makers import make_user

pytestmark = pytest.mark.django_db


@pytest.fixture
def operator():
    """Someone who may do everything with micrographs."""
    return make_user("operator")


@pytest.fixture
def measured(operator):
    """Two measured fields of one sample."""
    sample = make_sample()
    found = [
        add_micrograph(picture=section_file(seed), name=f"{seed}.png", by=operator, sample=sample)
        for seed in (1, 2)
    ]
    work_off()
    return found


def upload(name, content):
    """A file as a browser sends it."""
    return SimpleUploadedFile(name, content)


def test_the_list_takes_as_many_queries_for_two_rows_as_for_one(
    client, operator, measured, django_assert_max_num_queries
):
    """No query a row."""
    client.force_login(operator)
    with django_assert_max_num_queries(18):
        response = client.get(reverse("micrographs"))
    assert response.status_code == 200
    assert b"1.png" in response.content
    assert b"1234567A" in response.content


@pytest.mark.parametrize(("standing", "rows"), [("proposed", 2), ("waiting", 0), ("accepted", 0)])
def test_the_list_is_asked_by_its_address(client, operator, measured, standing, rows):
    """Where the measurement stands is a question."""
    client.force_login(operator)
    response = client.get(reverse("micrographs"), {"standing": standing, "sample": "1234567"})
    assert len(response.context["rows"]) == rows


def test_the_page_shows_numbers_flags_and_history(client, operator, measured, django_assert_max_num_queries):
    """One micrograph: interval, flags with remedies, its sample over its fields."""
    client.force_login(operator)
    with django_assert_max_num_queries(40):
        response = client.get(reverse("micrograph", args=[measured[0].pk]))
    page = response.context["page"]
    assert {one.words for one in page.measures} >= {"porosity", "oxide coverage"}
    assert any(flag["code"] == "unscaled" for flag in page.flags)
    assert page.pooled.n == 2
    assert page.past[0].stands
    assert b"Its sample, over 2 fields" in response.content


@pytest.mark.parametrize("name", ["micrograph_picture", "micrograph_thumbnail", "micrograph_overlay"])
def test_pictures_for_the_screen_are_made_and_made_again(client, operator, measured, name):
    """They are derived: lost ones come back from the original."""
    from teardown.files.store import derived

    client.force_login(operator)
    first = client.get(reverse(name, args=[measured[0].pk]))
    assert first.status_code == 200
    for folder in ("micrographs", "classes", "pictures", "thumbnails", "overlays"):
        for file in derived().listdir(folder)[1]:
            derived().delete(f"{folder}/{file}")
    assert client.get(reverse(name, args=[measured[0].pk])).content == first.content


@pytest.mark.parametrize("size", [64, 100, 520])
def test_pictures_smaller_than_a_tile_and_just_larger_have_their_pages(client, operator, size):
    """Picture, thumbnail, tile, classes for screen and paper, and the page itself."""
    one = add_micrograph(picture=section_file(1, size=size), name="small.png", by=operator)
    work_off()
    client.force_login(operator)
    assert client.get(reverse("micrograph", args=[one.pk])).status_code == 200
    for name in ("micrograph_picture", "micrograph_thumbnail"):
        assert client.get(reverse(name, args=[one.pk])).status_code == 200
    assert client.get(reverse("micrograph_tile", args=[one.pk, 0, 0, 0])).status_code == 200
    result = SectionResult.objects.filter(micrograph=one).first()
    if result is not None:
        fill = client.get(reverse("micrograph_overlay", args=[one.pk])).content
        hatch = client.get(reverse("micrograph_overlay", args=[one.pk]), {"as": "hatch"}).content
        with Image.open(io.BytesIO(fill)) as a, Image.open(io.BytesIO(hatch)) as b:
            assert a.size == b.size == (size, size)
            assert np.asarray(b)[:, :, 3].mean() < np.asarray(a)[:, :, 3].mean()


def test_tiles_are_whole_and_end_at_the_edge(client, operator, measured):
    """Short tiles are padded, as viewers stretch them; outside there is none."""
    client.force_login(operator)
    one = measured[0].pk
    response = client.get(reverse("micrograph_tile", args=[one, 0, 0, 0]))
    with Image.open(io.BytesIO(response.content)) as tile:
        assert tile.size == (512, 512)
        assert tile.convert("L").getpixel((400, 400)) == 0
    assert client.get(reverse("micrograph_tile", args=[one, 0, 1, 0])).status_code == 404
    run = SectionResult.objects.get(micrograph=one).run_id
    response = client.get(reverse("micrograph_class_tile", args=[one, run, "fill", 0, 0, 0]))
    with Image.open(io.BytesIO(response.content)) as tile:
        assert tile.mode == "RGBA"
    assert client.get(reverse("micrograph_class_tile", args=[one, run, "neon", 0, 0, 0])).status_code == 404


def test_many_pictures_are_tied_by_the_code_in_their_names(client, operator):
    """A zip is unfolded, shown as a plan, corrected, and booked."""
    make_sample("7654321B", by=operator)
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        archive.writestr("day/7654321B_f01.png", section_file(1))
        archive.writestr("day/7654321B_f01.txt", "PixelSize = 50 nm")
        archive.writestr("day/unknown.png", section_file(2))
        archive.writestr("day/bad.tif", b"no picture")
        archive.writestr("day/notes.docx", b"left out")
    client.force_login(operator)
    response = client.post(
        reverse("add_micrographs"), {"pictures": [upload("drop.zip", packed.getvalue())], "sample": ""}
    )
    assert response.status_code == 302
    plan = client.get(response["Location"])
    rows = plan.context["rows"]
    assert [(row["name"], row["code"], row["field_number"]) for row in rows] == [
        ("day/7654321B_f01.png", "7654321B", 1),
        ("day/unknown.png", "", None),
    ]
    assert b"bad.tif" in plan.content
    wrong = client.post(response["Location"], {"sample_0": "7654321B", "sample_1": "NOPE"})
    assert b"no sample has this code" in wrong.content
    assert Micrograph.objects.count() == 0
    client.post(response["Location"], {"sample_0": "7654321B", "sample_1": "7654321b"})
    assert Micrograph.objects.filter(ties__sample__code="7654321B").count() == 2
    assert ScaleClaim.objects.get(source="sidecar").pixel_width_um == pytest.approx(0.05)
    again = client.post(response["Location"], {"sample_0": "", "sample_1": ""}, follow=True)
    assert b"booked already" in again.content


def test_scale_outline_and_verdict_are_taken_from_the_page(client, operator, measured):
    """Forms lead to deeds; what is wrong is said beside them."""
    client.force_login(operator)
    one = measured[0].pk
    response = client.post(reverse("micrograph_scale", args=[one]), {"bar_um": "20", "bar_px": "80"})
    assert response.status_code == 302
    assert ScaleClaim.objects.get(micrograph=one).pixel_width_um == pytest.approx(0.25)
    assert client.post(reverse("micrograph_scale", args=[one]), {}).status_code == 422
    corners = "[[0,0],[200,0],[200,200]]"
    assert (
        client.post(
            reverse("micrograph_region", args=[one]), {"kind": "outline", "points": corners}
        ).status_code
        == 302
    )
    bad = client.post(reverse("micrograph_region", args=[one]), {"kind": "outline", "points": "[[1"})
    assert b"could not be read" in bad.content
    run = SectionResult.objects.filter(micrograph=one).first().run_id
    address = reverse("micrograph_review", args=[one])
    assert b"Say why" in client.post(address, {"verdict": "reject", "run": run}).content
    client.post(address, {"verdict": "accept", "run": run})
    assert Review.objects.get().verdict == "accept"


def test_a_reviewer_reads_and_does_not_add(client, measured):
    """Those who may not are told who may."""
    client.force_login(make_user("reviewer"))
    assert client.get(reverse("micrograph", args=[measured[0].pk])).status_code == 200
    response = client.get(reverse("add_micrographs"))
    assert response.status_code == 403
    assert b"may add micrographs" in response.content


def test_a_guest_sees_only_closed_cells(client, measured):
    """A micrograph of an open matter is not there for a guest."""
    client.force_login(make_user("guest"))
    assert client.get(reverse("micrograph", args=[measured[0].pk])).status_code == 404


def test_the_web_process_loads_no_image_library_for_the_list():
    """Views stay light: heavy libraries come only with the work that needs them."""
    import subprocess
    import sys

    code = (
        "import os, django, sys; os.environ['DJANGO_SETTINGS_MODULE'] = 'tests.settings'; django.setup();"
        "import teardown.imaging.views, teardown.imaging.urls;"
        "print([m for m in ('cv2', 'skimage', 'pyvips', 'tifffile', 'scipy.stats') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_a_face_gives_a_profile(client, operator, measured):
    """Porosity and oxide in layers below the drawn face."""
    client.force_login(operator)
    one = measured[0].pk
    client.post(reverse("micrograph_region", args=[one]), {"kind": "face", "points": "[[0,0],[256,0]]"})
    work_off()
    result = SectionResult.objects.filter(micrograph=one).first()
    assert len(result.sums["profile"]) == 10
    assert b"From face to core" in client.get(reverse("micrograph", args=[one])).content


def test_a_plan_tells_of_each_picture_and_takes_one_sample_for_the_rest(client, operator):
    """Size, depth, scale, twins and what is here already; a code for all that have none."""
    make_sample("7654321B", by=operator)
    client.force_login(operator)
    files = [
        upload("7654321B_f01.png", section_file(1, size=96)),
        upload("twin.png", section_file(1, size=96)),
    ]
    files += [upload("other.png", section_file(2, size=96)), upload("other.txt", b"PixelSize = 50 nm")]
    response = client.post(reverse("add_micrographs"), {"pictures": files, "sample": ""})
    plan = client.get(response["Location"])
    rows = {row["name"]: row for row in plan.context["rows"]}
    assert rows["twin.png"]["same_as"] == "7654321B_f01.png"
    assert rows["other.png"]["about"]["pixel_um"] == pytest.approx(0.05)
    assert rows["other.png"]["about"]["width"] == 96
    client.post(response["Location"], {"sample_0": "7654321B", "sample_rest": "7654321b"})
    assert Micrograph.objects.filter(ties__sample__code="7654321B").count() == 2
    again = client.post(reverse("add_micrographs"), {"pictures": [upload("x.png", section_file(2, size=96))]})
    assert client.get(again["Location"]).context["rows"][0]["known"]


def test_a_field_leads_to_its_neighbours_and_to_the_next_that_waits(client, operator, measured):
    """Of one sample; what was judged no longer waits."""
    first, second = measured
    client.force_login(operator)
    page = client.get(reverse("micrograph", args=[first.pk])).context["page"].neighbours
    assert (page.before, page.after, page.waiting) == (None, second, second)
    run = SectionResult.objects.get(micrograph=second).run_id
    client.post(reverse("micrograph_review", args=[second.pk]), {"verdict": "accept", "run": run})
    answer = client.get(reverse("micrograph", args=[first.pk]))
    assert answer.context["page"].neighbours.waiting is None
    assert b'rel="next"' in answer.content


def test_an_overview_is_kept_and_not_measured(client, operator):
    """What it shows is told when it is brought, with a plan or without."""
    sample = make_sample("7654321B", by=operator)
    client.force_login(operator)
    address = reverse("add_micrographs")
    given = {"pictures": [upload("a.png", section_file(1, size=96))], "sample": sample.code}
    client.post(address, given | {"kind": "overview"})
    answer = client.post(
        address, {"pictures": [upload("b.png", section_file(2, size=96))], "kind": "surface"}
    )
    client.post(answer["Location"], {"sample_0": sample.code})
    assert set(Micrograph.objects.values_list("kind", flat=True)) == {"overview", "surface"}
    assert work_off() == 0


def test_very_many_files_come_in_parts_and_make_one_plan(client, operator):
    """Each part is laid onto the plan of those before; what is refused is told; one word books them all."""
    sample = make_sample("7654321B", by=operator)
    client.force_login(operator)
    address = reverse("add_micrographs")

    def part(onto, *files):
        given = {"pictures": list(files), "part": "on", "onto": onto, "session": "Friday"}
        answer = client.post(address, given)
        return answer.status_code, answer.json()

    code, told = part("", upload("bad.tif", b"no picture"))
    assert (code, told["onto"]) == (200, None)
    assert told["refused"][0]["name"] == "bad.tif"
    _, told = part("", upload("7654321B_f01.png", section_file(1, size=96)))
    first = told["onto"]
    _, told = part(
        first,
        upload("twin.png", section_file(1, size=96)),
        upload("7654321B_f02.png", section_file(2, size=96)),
        upload("7654321B_f02.txt", b"PixelSize = 50 nm"),
        upload("worse.tif", b"nor this"),
    )
    assert told["onto"] == first
    plan = client.get(told["plan"])
    assert [row["name"] for row in plan.context["rows"]] == [
        "7654321B_f01.png",
        "twin.png",
        "7654321B_f02.png",
    ]
    assert plan.context["rows"][1]["same_as"] == "7654321B_f01.png"
    assert b"worse.tif" in plan.content
    client.post(told["plan"], {"sample_0": sample.code, "sample_2": sample.code})
    assert Micrograph.objects.filter(ties__sample=sample, session__name="Friday").count() == 2
    code, told = part(first, upload("late.png", section_file(3, size=96)))
    assert (code, "booked already" in told["refused"]) == (422, True)
    code, told = part("", upload("a.png", section_file(3, size=96)), upload("b.txt", b""))
    other = make_user("operator", username="another")
    client.force_login(other)
    assert (
        client.post(
            address, {"pictures": [upload("c.png", b"x")], "part": "on", "onto": told["onto"]}
        ).status_code
        == 404
    )


def test_a_part_says_in_words_what_is_wrong_and_a_full_plan_takes_no_more(client, operator, monkeypatch):
    """A sample that is not known, too many pictures for one plan: nothing of it is laid."""
    client.force_login(operator)
    address = reverse("add_micrographs")
    wrong = client.post(address, {"pictures": [upload("a.png", b"x")], "sample": "NOPE", "part": "on"})
    assert wrong.status_code == 422
    assert "NOPE" in wrong.json()["refused"]
    assert client.post(address, {"part": "on"}).json() == {"onto": None, "plan": "", "refused": []}
    monkeypatch.setattr("teardown.imaging.actions.planning.MOST_PLANNED", 1)
    first = client.post(address, {"pictures": [upload("a.png", section_file(1, size=96))], "part": "on"})
    given = {
        "pictures": [upload("b.png", section_file(2, size=96))],
        "part": "on",
        "onto": first.json()["onto"],
    }
    more = client.post(address, given)
    assert more.status_code == 422
    assert "Book these first" in more.json()["refused"]
    assert len(client.get(first.json()["plan"]).context["rows"]) == 1


def test_the_ends_of_the_bar_in_the_strip_are_proposed_and_its_length_is_not(client, operator):
    """Its two ends in pixels of the picture; without a strip, or where none stands out, it says so."""
    file = section_file(1, size=128, strip=32, bar=64)
    one = add_micrograph(picture=file, name="a.png", by=operator, measure=False)
    client.force_login(operator)
    address, page = reverse("micrograph_bar", args=[one.pk]), reverse("micrograph", args=[one.pk])
    none = client.get(address)
    assert none.status_code == 422
    assert "No information strip" in none.json()["refused"]
    assert address.encode() not in client.get(page).content
    draw_region(micrograph=one, kind="strip", points=[[0, 128], [128, 160]], by=operator, measure=False)
    assert client.get(address).json() == {"ends": [[41.0, 144.5], [103.0, 144.5]], "ticks": True}
    assert address.encode() in client.get(page).content
    draw_region(micrograph=one, kind="strip", points=[[0, 128], [128, 134]], by=operator, measure=False)
    told = client.get(reverse("micrograph_bar", args=[one.pk])).json()["refused"]
    assert told == "The information strip is all of one grey. Set the two ends by hand."

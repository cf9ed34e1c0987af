"""Places marked on images: by those who may, inside the image, taken away only with a reason."""

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.test import Client

from teardown.dissection.models import Photograph
from teardown.imaging.models import Micrograph
from teardown.records.models import Record
from teardown.review.actions import mark_place, take_mark_away
from teardown.review.models import Mark
from tests.makers import make_user
from tests.review.makers import Story, make_story

pytestmark = pytest.mark.django_db
BOX = (0.1, 0.2, 0.3, 0.5)


@pytest.fixture
def story() -> Story:
    return make_story("SP-0413")


def photograph_of(story: Story) -> Photograph:
    return Photograph.objects.get(dissection=story.dissection)


def test_a_mark_keeps_its_place_its_words_and_writes_one_record(story: Story) -> None:
    before = Record.objects.count()
    mark = mark_place(image=photograph_of(story), box=BOX, words="green rim", by=story.by)
    assert (mark.box, mark.words, mark.micrograph) == (list(BOX), "green rim", None)
    assert Record.objects.count() == before + 1


def test_a_mark_taken_away_is_out_of_view_and_still_in_the_books(story: Story) -> None:
    mark = mark_place(image=Micrograph.objects.get(), box=BOX, words="crack", by=story.by)
    take_mark_away(mark=mark, reason="a scratch of polishing", by=story.by)
    assert not Mark.objects.standing().exists()
    assert Mark.objects.count() == 2
    assert Record.objects.latest("seq").reason == "a scratch of polishing"
    with pytest.raises(ValidationError, match="taken away before"):
        take_mark_away(mark=mark, reason="again", by=story.by)


@pytest.mark.parametrize("box", [(0.3, 0.2, 0.1, 0.5), (0.1, 0.2, 0.1, 0.5), (-0.1, 0, 1, 1), (0, 0, 1, 1.1)])
def test_a_box_without_area_or_outside_is_refused(story: Story, box: tuple[float, ...]) -> None:
    with pytest.raises(ValidationError, match="inside the image"):
        mark_place(image=photograph_of(story), box=box, words="x", by=story.by)


def test_no_reason_no_taking_away_and_a_guest_marks_nothing(story: Story) -> None:
    mark = mark_place(image=photograph_of(story), box=BOX, words="x", by=story.by)
    with pytest.raises(ValidationError, match="Say why"):
        take_mark_away(mark=mark, reason=" ", by=story.by)
    with pytest.raises(PermissionDenied):
        mark_place(image=photograph_of(story), box=BOX, words="x", by=make_user("guest"))


@pytest.mark.parametrize("kind", ["photograph", "micrograph"])
def test_a_place_is_marked_and_taken_away_on_its_page(story: Story, kind: str) -> None:
    client = Client()
    client.force_login(make_user("reviewer"))
    image = photograph_of(story) if kind == "photograph" else Micrograph.objects.get()
    address = f"/marks/{kind}/{image.pk}/"
    typed = {"words": "white film", "left": "10", "top": "20,5", "right": "30", "bottom": "50"}
    assert client.post(address, typed).status_code == 302
    page = client.get(address).content.decode()
    assert "1 place is marked." in page
    assert '<rect x="100.0" y="205.0" width="200.0" height="295.0"/>' in page
    assert "white film" in client.get("/cells/SP-0413/").content.decode()
    client.post(f"/marks/{Mark.objects.get().pk}/away/", {"reason": "dust"})
    assert "white film" not in client.get("/cells/SP-0413/").content.decode()


def test_a_bad_box_is_told_on_the_page_and_keeps_what_was_typed(story: Story) -> None:
    client = Client()
    client.force_login(make_user("reviewer"))
    typed = {"words": "rim", "left": "50", "top": "20", "right": "30", "bottom": "50"}
    answer = client.post(f"/marks/photograph/{photograph_of(story).pk}/", typed)
    assert answer.status_code == 400
    assert "left before right" in answer.content.decode()
    assert 'value="rim"' in answer.content.decode()


def test_an_image_that_is_not_there_has_no_page(story: Story) -> None:
    client = Client()
    client.force_login(make_user("reviewer"))
    assert client.get("/marks/photograph/99999/").status_code == 404
    assert client.get("/marks/poster/1/").status_code == 404

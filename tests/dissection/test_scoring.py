"""A second person scores the same photographs without a word of the first; agreement has its doubt."""

import uuid

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.urls import reverse

from teardown.dissection import actions as bench
from teardown.dissection.actions.scoring import score
from teardown.dissection.dossier.scoring import again, agreed_on
from teardown.dissection.models import Entry, Photograph, Score
from teardown.vocabulary.models import Term
from tests import makers
from tests.dissection.makers import PNG

pytestmark = pytest.mark.django_db


@pytest.fixture
def first():
    return makers.make_user("bench", username="first")


@pytest.fixture
def second():
    return makers.make_user("bench", username="second")


@pytest.fixture
def dissection(first):
    cell = makers.make_cell("SP-0413")
    makers.make_test(cell, end="leak")
    return bench.start_dissection(cell=cell, by=first, at=makers.NOW)


def seen(dissection, by, place, **said):
    """Log what is seen at a place, and a photograph of that place."""
    entry = bench.log_entry(dissection=dissection, by=by, place=place, at=makers.NOW, **said)
    photograph = bench.add_photograph(
        file=PNG + uuid.uuid4().bytes,
        name="1.png",
        dissection=dissection,
        by=by,
        size_px=(1, 1),
        at=makers.NOW,
    )
    bench.label_photograph(photograph=photograph, component="iron_electrode", place=place, by=by)
    return entry, photograph


def of(user, term):
    return next(each for each in again(user) if each.term.key == term)


def test_the_second_person_is_offered_what_the_first_said_and_the_first_is_not(dissection, first, second):
    entry, photograph = seen(dissection, first, "A.M2", term="iron.colour", answer="green")
    (pair,) = of(second, "iron.colour").waiting
    assert (pair.photograph, pair.first) == (photograph, entry)
    assert of(first, "iron.colour").waiting == ()
    with pytest.raises(PermissionDenied, match="second person"):
        score(photograph=photograph, first=entry, said={"answer": "iron.colour.green"}, by=first)


def test_a_score_stands_beside_the_entry_and_changes_nothing_there(dissection, first, second):
    entry, photograph = seen(dissection, first, "A.M2", term="iron.colour", answer="green")
    score(photograph=photograph, first=entry, said={"answer": "iron.colour.white"}, by=second)
    assert Entry.objects.current().count() == 1
    assert Score.objects.get().said == str(Term.objects.get(key="iron.colour.white"))
    assert of(second, "iron.colour").waiting == ()
    with pytest.raises(ValidationError, match="already"):
        score(photograph=photograph, first=entry, said={"answer": "iron.colour.white"}, by=second)
    with pytest.raises(ValidationError, match="no answer"):
        score(
            photograph=photograph,
            first=entry,
            said={"answer": "iron.texture.mud"},
            by=makers.make_user("bench"),
        )


def test_the_page_shows_no_word_of_the_first_nor_cell_nor_recipe(client, dissection, first, second):
    seen(dissection, first, "A.M2", term="iron.colour", answer="green", certainty="guess")
    client.force_login(second)
    page = client.get(reverse("score_again", args=["iron.colour"])).content.decode().partition("<main")[2]
    assert "A.M2" in page
    assert "SP-0413" not in page
    assert dissection.cell.build.revision.recipe.code not in page
    assert page.count("green film") == 1  # its button alone
    pair = page.partition('name="pair" value="')[2].partition('"')[0]
    client.post(
        reverse("score_again", args=["iron.colour"]), {"pair": pair, "said": "answer:iron.colour.green"}
    )
    assert Score.objects.get().by == second
    done = client.get(reverse("score_again", args=["iron.colour"])).content.decode()
    assert "Nothing waits for you here." in done
    assert "1 photograph scored twice: too few" in client.get(reverse("score_again_list")).content.decode()


def test_extents_are_compared_on_their_scale_and_cannot_tell_is_counted_apart(dissection, first, second):
    places = ["A.T1", "A.T2", "A.T3", "A.M1", "A.M2", "A.M3", "A.B1"]
    firsts = ["trace", "some", "some", "much", "much", "nearly all", "much"]
    seconds = ["trace", "some", "much", "much", "much", "nearly all", None]
    for place, one, other in zip(places, firsts, seconds, strict=True):
        entry, photograph = seen(dissection, first, place, term="iron.cover", extent=one)
        said = {"state": "present", "extent": other} if other else {"state": "cannot tell"}
        score(photograph=photograph, first=entry, said=said, by=second)
    agreed = of(second, "iron.cover").agreed
    assert (agreed.n, agreed.unsure, agreed.same, agreed.ordered) == (6, 1, 5, True)
    assert 0.5 < agreed.kappa.value < 1
    assert agreed.kappa.low < agreed.kappa.value < agreed.kappa.high
    assert "weighted kappa" in agreed.sentence
    assert "no verdict" in agreed.sentence


def test_a_typed_share_falls_into_the_extent_that_holds_it(dissection, first, second):
    entry, photograph = seen(dissection, first, "A.M2", term="iron.cover", extent_fraction=0.3)
    made = score(photograph=photograph, first=entry, said={"state": "present", "extent": "much"}, by=second)
    agreed = agreed_on(entry.term, [made])
    assert (agreed.n, agreed.same) == (1, 1)


def test_a_photograph_that_is_no_evidence_is_not_scored(dissection, first, second):
    _, photograph = seen(dissection, first, "A.M2", term="iron.colour", answer="green")
    bench.label_photograph(photograph=photograph, not_evidence="a glove", by=first)
    assert of(second, "iron.colour").waiting == ()
    assert Photograph.objects.count() == 1


def test_the_list_holds_its_number_of_queries(dissection, first, second, django_assert_max_num_queries):
    for place in ("A.T1", "A.T2", "A.M2"):
        seen(dissection, first, place, term="iron.colour", answer="green")
    _ = second.roles
    with django_assert_max_num_queries(8):
        again(second)


def test_several_photographs_of_one_part_are_one_answer(dissection, first, second):
    entry, _ = seen(dissection, first, "A.M2", term="iron.colour", answer="green")
    again_photographed = bench.add_photograph(
        file=PNG + b"2", name="2.png", dissection=dissection, by=first, size_px=(1, 1), at=makers.NOW
    )
    bench.label_photograph(photograph=again_photographed, component="iron_electrode", place="A.M2", by=first)
    assert [pair.first for pair in of(second, "iron.colour").waiting] == [entry]


def test_what_no_photograph_shows_is_not_asked(second):
    offered = {each.term.key for each in again(second)}
    assert {"iron.colour", "separator.state", "air.gas_side"} <= offered
    assert not {"iron.magnet", "rinse.liquid", "warm.noticed", "dry.how"} & offered

"""Words with versions: added, reworded, retired, merged; keys are never used again."""

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError
from django.urls import reverse

from teardown.records.models import Record, StaleVersion
from teardown.vocabulary.actions import merge_terms, new_term, retire_term, reword_term
from teardown.vocabulary.dossier import newest
from teardown.vocabulary.models import Term, Version
from teardown.vocabulary.rules import RELIED_ON, slug
from teardown.vocabulary.store import seed
from tests.makers import make_user

pytestmark = pytest.mark.django_db


@pytest.fixture
def lead(client):
    user = make_user("lead")
    client.force_login(user)
    return user


def film(lead, **more):
    data = {"card": "iron", "kind": "presence", "per": "place", "component": "component.iron_electrode"}
    return new_term(kind="field", words="green film", data=data, by=lead, **more)


def test_a_new_word_is_asked_from_a_new_version_on(lead):
    before = newest()
    term = film(lead)
    assert (term.key, term.asked_since.number) == ("iron.green_film", before + 1)
    assert Version.objects.get(number=before + 1).note == "new: green film"
    assert Record.objects.last().payload["key"] == "iron.green_film"


def test_a_choice_comes_with_its_answers_in_their_order(lead):
    term = new_term(
        kind="field",
        words="film colour",
        data={"card": "iron", "kind": "choice", "per": "place"},
        answers=["green", "white"],
        by=lead,
    )
    assert list(term.answers.values_list("key", "words")) == [
        ("iron.film_colour.green", "green"),
        ("iron.film_colour.white", "white"),
    ]


def test_a_key_is_never_used_again(lead):
    first = film(lead)
    retire_term(term=first, seen=newest(), reason="not told apart", by=lead)
    with pytest.raises(ValidationError, match="and is retired"):
        film(lead)
    other = new_term(kind="field", words="Green  film!", data={"card": "iron", "kind": "presence"}, by=lead)
    assert other.key == "iron.green_film_2"
    with pytest.raises(IntegrityError):
        Term.objects.filter(pk=first.pk).update(key="iron.other")


def test_rewording_keeps_the_key_and_tells_the_version(lead):
    term = film(lead)
    reword_term(term=term, seen=newest(), words="greenish film", explanation="Seen in daylight.", by=lead)
    term.refresh_from_db()
    assert (term.key, term.words) == ("iron.green_film", "greenish film")
    assert newest() == term.asked_since.number + 1


def test_two_leads_editing_at_once_are_told(lead):
    term, seen = film(lead), newest()
    reword_term(term=term, seen=seen, words="greenish film", by=lead)
    with pytest.raises(StaleVersion):
        reword_term(term=term, seen=seen, words="green skin", by=lead)
    assert Term.objects.get(pk=term.pk).words == "greenish film"


def test_a_merged_word_points_to_the_one_that_stands_for_it(lead):
    one = new_term(kind="mode", words="slow drowning", family="air electrode", by=lead)
    other = new_term(kind="mode", words="wet air electrode", family="air electrode", by=lead)
    merge_terms(term=one, into=other, seen=newest(), reason="the same thing", by=lead)
    one.refresh_from_db()
    assert one.merged_into == other
    assert one.retired_at is not None
    assert one not in Term.objects.of("mode")


@pytest.mark.parametrize(
    ("merge", "words"),
    [("itself", "into itself"), ("kind", "not of the same list"), ("retired", "retired itself")],
)
def test_words_are_merged_only_within_a_list_and_into_what_stands(lead, merge, words):
    term, other = film(lead), new_term(kind="end", words="ran away", data={"censors": False}, by=lead)
    gone = new_term(kind="field", words="blue film", data={"card": "iron"}, by=lead)
    retire_term(term=gone, seen=newest(), reason="x", by=lead)
    gone.refresh_from_db()
    into = {"itself": term, "kind": other, "retired": gone}[merge]
    with pytest.raises(ValidationError, match=words):
        merge_terms(term=term, into=into, seen=newest(), reason="x", by=lead)


def test_what_numbers_rest_on_is_reworded_but_not_retired(lead):
    for key in sorted(RELIED_ON):
        term = Term.objects.get(key=key)
        with pytest.raises(ValidationError, match="rest on this entry"):
            retire_term(term=term, seen=newest(), reason="x", by=lead)
    tab = Term.objects.get(key="component.tab")
    with pytest.raises(ValidationError, match="same in every laboratory"):
        retire_term(term=tab, seen=newest(), reason="x", by=lead)
    with pytest.raises(ValidationError, match="takes no new entries"):
        new_term(kind="component", words="lid", by=lead)


def test_at_most_nine_answers_fit_a_card(lead):
    data = {"card": "iron", "kind": "choice"}
    term = new_term(kind="field", words="smell", data=data, answers=map(str, range(9)), by=lead)
    with pytest.raises(ValidationError, match="At most 9"):
        new_term(kind="answer", words="tenth", parent=term, by=lead)


def test_seeding_again_touches_nothing_that_the_laboratory_changed(lead):
    term = Term.objects.get(key="end.leak")
    reword_term(term=term, seen=newest(), words="leaked", by=lead)
    count = Term.objects.count()
    seed()
    assert Term.objects.get(key="end.leak").words == "leaked"
    assert Term.objects.count() == count


@pytest.mark.parametrize("role", ["bench", "operator", "analyst", "reviewer", "guest", "administrator"])
def test_only_the_lead_edits_words(role):
    with pytest.raises(PermissionDenied):
        new_term(kind="end", words="x", by=make_user(role))


@pytest.mark.parametrize(
    ("words", "key"),
    [("Green film, face B", "green_film_face_b"), ("Überzug", "uberzug"), ("—", "term")],
)
def test_keys_are_plain(words, key):
    assert slug(words) == key


def test_the_pages_show_and_change_the_words(client, lead):
    assert "failure mode" in client.get(reverse("vocabulary")).content.decode()
    page = client.get(reverse("words", args=["end"])).content.decode()
    assert "no failure: the test is censored" in page
    client.post(reverse("words", args=["end"]), {"words": "power cut", "censors": "on", "reason": "storm"})
    term = Term.objects.get(key="end.power_cut")
    assert term.data == {"censors": True}
    client.post(
        reverse("words", args=["field"]),
        {
            "words": "film colour",
            "card": "iron",
            "kind": "choice",
            "per": "place",
            "answer_words": "green\nwhite",
        },
    )
    field = Term.objects.get(key="iron.film_colour")
    assert field.answers.count() == 2
    client.post(reverse("answer_term", args=[field.key]), {"answer-words": "blue"})
    assert field.answers.count() == 3
    client.post(
        reverse("reword_term", args=[term.key]), {"reword-seen": newest(), "reword-words": "power failure"}
    )
    client.post(reverse("retire_term", args=[term.key]), {"retire-seen": newest(), "retire-reason": "never"})
    term.refresh_from_db()
    assert (term.words, term.retired_at is not None) == ("power failure", True)
    refused = client.post(
        reverse("retire_term", args=["opening.opened"]), {"retire-seen": newest(), "retire-reason": "x"}
    )
    assert refused.status_code == 422
    assert "rest on this entry" in refused.content.decode()
    table = b"".join(client.get(reverse("vocabulary"), {"export": "csv"})).decode("utf-8-sig")
    assert "end.power_cut" in table


@pytest.mark.parametrize("kind", [k for k in Term.Kind.values if k != "answer"])
def test_each_list_holds_its_number_of_queries(client, lead, django_assert_max_num_queries, kind):
    with django_assert_max_num_queries(12):
        assert client.get(reverse("words", args=[kind])).status_code == 200

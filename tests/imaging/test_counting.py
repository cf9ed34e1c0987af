"""Counts by eye: places set before looking, shares with intervals, paired with computer and second person."""

import json

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse
from scipy.stats import t

from teardown.files.tasks import work_off
from teardown.imaging.actions import add_count, add_micrograph
from teardown.imaging.dossier.counts import sample_counts_of
from teardown.imaging.models import Count
from teardown.imaging.runs import standing
from teardown.imaging.store import classes_at, crossings_of, places_of, seeds_of
from tests.imaging.pictures import make_sample, section_file
from tests.makers import make_user

pytestmark = pytest.mark.django_db
NAMES = ("pore", "oxide", "metal")


@pytest.fixture
def operator():
    """Someone who may do everything with micrographs."""
    return make_user("operator")


@pytest.fixture
def sample(operator):
    """A sample of two measured fields."""
    made = make_sample(by=operator)
    for seed in (1, 2):
        add_micrograph(
            picture=section_file(seed, size=128), name=f"{seed}.png", by=operator, sample=made,
            pixel_size_um=0.1,
        )  # fmt: skip
    work_off()
    return made


def fields_of(sample):
    """The micrographs of a sample."""
    from teardown.imaging.models import Micrograph

    return list(Micrograph.objects.of_sample(sample.code).order_by("pk"))


def count_as_computer(field, by, *, seed=None, wrong=0):
    """Count points by calling what the computer found; the first ``wrong`` ones otherwise."""
    result = standing([field])[field.pk]
    seed = seeds_of(field, "points")[-1] if seed is None else seed
    places = places_of(field, "points", seed, result)
    called = [NAMES[code] for code in classes_at(result, [tuple(place) for place in places])]
    answers = [
        [*place, NAMES[(NAMES.index(word) + 1) % 3] if number < wrong else word]
        for number, (place, word) in enumerate(zip(places, called, strict=True))
    ]
    return add_count(micrograph=field, kind="points", seed=seed, answers=answers, by=by)


def test_who_sees_what_the_computer_sees_agrees_with_it(operator, sample):
    """No difference at the same points, and full agreement; each wrong call takes its share from that."""
    field = fields_of(sample)[0]
    found = count_as_computer(field, operator).found
    assert found["paired"]["agreement"] == 1
    assert list(found["paired"]["difference"]) == [0, 0, 0]
    less = count_as_computer(field, operator, wrong=40).found
    assert less["paired"]["agreement"] == pytest.approx(1 - 40 / less["paired"]["points"])


def test_fields_are_pooled_as_the_standard_says(operator, sample):
    """Mean of the fields' shares with t s / sqrt(n) (ASTM E562, formula from memory)."""
    one, two = fields_of(sample)
    first = count_as_computer(one, operator).found["pore"]["value"]
    assert sample_counts_of(sample) == ()
    second = count_as_computer(two, operator).found["pore"]["value"]
    pooled = {row.words: row for row in sample_counts_of(sample)}["pore"]
    assert pooled.estimate.value == pytest.approx((first + second) / 2)
    half = t.ppf(0.975, 1) * abs(first - second) / 2
    assert pooled.estimate.high == pytest.approx(min(pooled.estimate.value + half, 1))
    assert pooled.fields == 2


def test_a_second_person_calls_the_same_places(client, operator, sample):
    """The grid is that of the first count; how often both say the same stands on the page."""
    field = fields_of(sample)[0]
    first = count_as_computer(field, operator)
    second = make_user("analyst", username="second")
    client.force_login(second)
    page = client.get(reverse("micrograph_count", args=[field.pk, "points"]), {"again": first.pk})
    assert page.context["seed"] == first.seed
    assert page.context["places"] == [row[:2] for row in first.answers]
    assert "what was said is hidden" in page.content.decode()
    found = count_as_computer(field, second, seed=first.seed, wrong=20).found
    (other,) = found["others"]
    assert other["agreement"] == pytest.approx(1 - 20 / other["places"])
    assert b"said the same at" in client.get(reverse("micrograph", args=[field.pk])).content


def test_the_grid_is_set_before_anyone_looks(operator, sample):
    """Neither another grid, nor other places, nor answers that are none are kept."""
    field = fields_of(sample)[0]
    seed = seeds_of(field, "points")[-1]
    assert seed == field.pk * 1000
    places = places_of(field, "points", seed, standing([field])[field.pk])
    answers = [[*place, "metal"] for place in places[:20]]
    with pytest.raises(ValidationError, match="was not set for this picture"):
        add_count(micrograph=field, kind="points", seed=seed + 5, answers=answers, by=operator)
    moved = [[answers[0][0] + 3, *answers[0][1:]], *answers[1:]]
    with pytest.raises(ValidationError, match="set before looking"):
        add_count(micrograph=field, kind="points", seed=seed, answers=moved, by=operator)
    with pytest.raises(ValidationError, match="is no answer"):
        add_count(
            micrograph=field,
            kind="points",
            seed=seed,
            answers=[[*p, "rust"] for p in places[:12]],
            by=operator,
        )
    with pytest.raises(ValidationError, match="too few"):
        add_count(micrograph=field, kind="points", seed=seed, answers=answers[:5], by=operator)
    assert not Count.objects.exists()


def test_a_count_is_taken_from_the_page_and_the_next_has_another_grid(client, operator, sample):
    """Half points on borders; the seed moves on."""
    client.force_login(operator)
    field = fields_of(sample)[0]
    address = reverse("micrograph_count", args=[field.pk, "points"])
    page = client.get(address)
    places = page.context["places"]
    assert len(places) > 300
    answers = [[*place, "metal" if k % 2 else "pore or oxide"] for k, place in enumerate(places[:40])]
    given = {"seed": page.context["seed"], "run": page.context["run"], "answers": json.dumps(answers)}
    assert client.post(address, given).status_code == 302
    found = Count.objects.get().found
    assert found["metal"]["value"] == pytest.approx(0.5)
    assert found["pore"]["value"] == pytest.approx(0.25)
    assert client.get(address).context["seed"] == page.context["seed"] + 1
    assert client.post(address, given | {"answers": "[[1,"}).status_code == 422
    assert client.post(address, given | {"run": 999999}).status_code == 422


def test_crossings_give_a_coverage_beside_the_computers(client, operator, sample):
    """Called as the computer sees them they agree; what nobody can tell widens the interval."""
    client.force_login(operator)
    field = fields_of(sample)[0]
    address = reverse("micrograph_count", args=[field.pk, "crossings"])
    context = client.get(address).context
    answers = [
        [*place, ("oxide", "pore", "oxide", "cannot tell")[k % 4]]
        for k, place in enumerate(context["places"])
    ]
    given = {"seed": context["seed"], "run": context["run"], "answers": json.dumps(answers)}
    assert client.post(address, given).status_code == 302
    found = Count.objects.get().found
    told = sum(row[2] != "cannot tell" for row in answers)
    oxide = sum(row[2] == "oxide" for row in answers)
    assert found["coverage"]["value"] == pytest.approx(oxide / told)
    assert found["cannot_tell"] == len(answers) - told
    assert 0 < found["paired"]["points"] <= told
    assert b"at the same places" in client.get(reverse("micrograph", args=[field.pk])).content


@pytest.mark.parametrize(
    "lines",
    [
        "turned",
        pytest.param("vertical", marks=pytest.mark.long),
        pytest.param("diagonal", marks=pytest.mark.long),
    ],
)
def test_crossings_on_lines_of_every_set_agree_with_who_sees_as_the_computer(operator, sample, lines):
    """Called after the classes beyond the metal, no crossing differs; the set is kept with the count."""
    field = fields_of(sample)[0]
    result, seed = standing([field])[field.pk], seeds_of(field, "crossings")[-1]
    places = crossings_of(field, seed, result, lines)
    beyond = classes_at(result, [(x + 0.8 * dx, y + 0.8 * dy) for x, y, dx, dy in places])
    words = [("pore", "oxide", "cannot tell", "cannot tell", "cannot tell")[code] for code in beyond]
    answers = [[x, y, word] for (x, y, *_), word in zip(places, words, strict=True)]
    given = {"micrograph": field, "kind": "crossings", "seed": seed, "answers": answers, "by": operator}
    with pytest.raises(ValidationError, match="set before looking"):
        add_count(**given, lines="horizontal")
    with pytest.raises(ValidationError, match="no set of test lines"):
        add_count(**given, lines="bent")
    found = add_count(**given, lines=lines).found
    assert found["lines"] == lines
    assert found["paired"]["agreement"] == 1
    assert found["coverage"]["low"] < found["coverage"]["value"] < found["coverage"]["high"]
    second = make_user("analyst", username="second")
    again = add_count(**given | {"by": second}, lines=lines).found
    assert again["others"][0]["agreement"] == 1

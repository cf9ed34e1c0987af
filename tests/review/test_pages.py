"""The pages of the review: what they say, to whom, and what they cost."""

import csv
import io
import re
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from teardown.accounts.models import User
from teardown.cells.models import Cell
from teardown.files.models import Run, RunInput
from teardown.imaging.models import Micrograph, Review
from teardown.review.models import KeptView
from tests.makers import NOW, make_build, make_cell, make_revision, make_test, make_user
from tests.review.makers import make_judgement, make_run, make_story

pytestmark = pytest.mark.django_db


def signed_in(*roles: str) -> Client:
    client = Client()
    client.force_login(make_user(*roles))
    return client


def page(client: Client, address: str, **asked: Any) -> str:
    answer = client.get(address, asked)
    assert answer.status_code == 200, answer.content[:400]
    return answer.content.decode()


def test_the_first_page_counts_what_there_is_and_says_what_waits() -> None:
    make_story()
    make_test(make_cell(), end="planned")
    html = page(signed_in("lead"), "/")
    assert "2 cells are in the books; 0 on test now, 1 opened, 1 judged." in html
    assert "ended and waiting for the bench" in html


def test_what_a_computation_still_needs_is_asked_for_until_it_is_asked_again() -> None:
    needs = "The balance of SP-0413 still needs phase fractions (diffraction). [findings.E001]"
    for number, (state, error, cell) in enumerate(
        [("failed", needs, 1), ("failed", needs, 2), ("failed", "ValueError: odd", 3), ("done", "", 2)]
    ):
        Run.objects.create(
            key=f"{number:064}", function="findings.balance", function_version="1", state=state, error=error,
            subject=f"cells.cell:{cell}", asked_at=NOW,
        )  # fmt: skip
    client = signed_in("analyst")
    said = re.sub(r"<[^>]*>|\s+", " ", page(client, "/"))
    assert re.search(r"computations need something first, and say what\s+1 ", said)
    assert re.search(r"computations broke off\s+1 ", said)
    table = page(client, "/runs/?state=failed")
    assert table.count("still needs phase fractions (diffraction).") == 2
    assert table.count("broke off") == 1


def test_the_first_page_of_an_empty_house_says_what_to_do() -> None:
    assert "Import recipes and cells to begin." in page(signed_in("analyst"), "/")


def test_an_administrator_is_led_to_the_records() -> None:
    assert signed_in("administrator").get("/").url == "/records/"  # type: ignore[attr-defined]


def test_the_list_shows_state_measures_and_mode() -> None:
    story = make_story("SP-0413")
    html = page(signed_in("operator"), "/cells/")
    for words in (
        "SP-0413",
        "judged",
        "capacity limit",
        "71 (66–76)",
        "passivation by an oxide film, probable",
    ):
        assert words in html
    assert str(story.cell.build.revision) in html


def test_a_recipe_is_hidden_from_those_who_may_not_see_it() -> None:
    story = make_story()
    recipe = str(story.cell.build.revision)
    for address in ("/cells/", f"/cells/{story.cell.code}/", f"/side-by-side/?cell={story.cell.code}"):
        assert recipe in page(signed_in("analyst"), address)
        assert recipe not in page(signed_in("bench"), address)
    assert recipe.split(" ")[0] not in signed_in("bench").get("/cells.csv").content.decode()


@pytest.mark.parametrize(
    ("asked", "found"),
    [
        ({"q": "sp-0413"}, {"SP-0413"}),
        ({"q": "bismuth"}, {"SP-0413", "SP-0500"}),
        ({"state": "judged"}, {"SP-0413"}),
        ({"state": "ended", "not_state": "opened"}, {"SP-0600"}),
        ({"coverage_from": "60,5"}, {"SP-0413"}),
        ({"coverage_to": "60"}, set()),
        ({"temperature_from": "40"}, {"SP-0600"}),
        ({"alkali_to": "4"}, {"SP-0600"}),
        ({"cycles_from": "100"}, {"SP-0413"}),
        ({"end": "end.planned"}, {"SP-0600"}),
        ({"mode": "mode.passivation"}, {"SP-0413"}),
        ({"mode": "mode.passivation", "role": "contributing"}, set()),
    ],
)
def test_the_list_is_filtered_by_the_address(asked: dict[str, str], found: set[str]) -> None:
    rich = make_build(make_revision("FeBi", additive="bismuth sulfide"))
    story = make_story("SP-0413", build=rich)
    plain = make_build(make_revision("Plain", additive="zinc oxide", koh=4.0))
    make_cell("SP-0500", build=rich)
    make_test(make_cell("SP-0600", build=plain), end="planned", temperature_C=50)
    from teardown.cells.actions.search import refresh_search_text

    refresh_search_text(Cell.objects.all())
    assert story.cell.code == "SP-0413"
    rows = list(
        csv.DictReader(
            io.StringIO(signed_in("operator").get("/cells.csv", asked).content.decode("utf-8-sig"))
        )
    )
    assert {row["cell"] for row in rows} == found
    html = page(signed_in("operator"), "/cells/", **asked)
    assert all(code in html for code in found)


@pytest.mark.parametrize("judged", ["the pool itself", "a field it rests on"])
def test_a_rejected_measure_finds_its_cell_no_more_until_it_is_accepted_again(judged: str) -> None:
    story = make_story("SP-0413", coverage=0.71)
    micrograph = Micrograph.objects.get()
    run = story.coverage.run
    if judged == "a field it rests on":
        run = make_run("imaging.section")
        RunInput.objects.create(run=story.coverage.run, role="field 1", source_run=run)
    for verdict, found in (("reject", False), ("accept", True)):
        Review.objects.create(
            micrograph=micrograph, run=run, verdict=verdict, reason="scratches", by=story.by
        )
        text = signed_in("operator").get("/cells.csv", {"coverage_from": "60"}).content.decode()
        assert ("SP-0413" in text) is found


def test_a_number_that_is_none_is_refused_at_its_field() -> None:
    html = page(signed_in("analyst"), "/cells/", coverage_from="much")
    assert "“much” is not a number" in html


def test_the_export_is_what_is_shown_in_its_order_with_intervals() -> None:
    make_story("SP-0001", coverage=0.4)
    make_story("SP-0002", coverage=0.8)
    make_cell("SP-0003")
    text = signed_in("analyst").get("/cells.csv", {"order": "-coverage"}).content.decode("utf-8-sig")
    rows = list(csv.DictReader(io.StringIO(text)))
    assert [row["cell"] for row in rows] == ["SP-0002", "SP-0001", "SP-0003"]
    assert float(rows[0]["oxide_coverage_low"]) == pytest.approx(0.75)
    assert rows[0]["oxide_coverage_status"] == "proposed"
    assert rows[2]["oxide_coverage"] == ""


def test_an_export_never_begins_a_formula() -> None:
    make_cell("=1+1")
    text = signed_in("analyst").get("/cells.csv").content.decode("utf-8-sig")
    assert next(csv.DictReader(io.StringIO(text)))["cell"] == "'=1+1"


def test_the_page_of_a_cell_tells_its_story() -> None:
    story = make_story("SP-0413", seed=3)
    html = page(signed_in("operator"), "/cells/SP-0413/")
    sentence = (
        "Carbonyl iron, 4\u202f% bismuth sulfide, 6\u202fmol/L potassium hydroxide; "
        "cycled at 35\u202f°C for 180 complete cycles; ended by its capacity limit on"
    )
    for words in (
        sentence,
        "opened nine hours later in the discharged state.",
        "knee 120",
        "71\u202f%",
        "misread instrument",
        "Looked for and absent: iron lost from the plate",
        "magnetite",
        "1 more measure",
        "passivation by an oxide film",
        story.sample.code,
        "/side-by-side/?cell=SP-0413",
    ):
        assert words in html
    assert html.count('<svg class="drawing"') == 1


@pytest.mark.parametrize("stage", ["built", "on test", "ended"])
def test_a_young_cell_has_a_page_too(stage: str) -> None:
    cell = make_cell("SP-0001")
    if stage != "built":
        make_test(cell, end="planned" if stage == "ended" else None)
    html = page(signed_in("reviewer"), "/cells/SP-0001/")
    assert "Nobody has opened this cell yet." in html
    assert "not judged" in html or "Nobody has judged" in html
    assert 'aria-current="step"' in html


def test_a_guest_sees_closed_cells_alone() -> None:
    open_cell, closed = make_cell("SP-0001"), make_cell("SP-0002")
    Cell.objects.filter(pk=closed.pk).update(closed_at=timezone.now())
    client = signed_in("guest")
    assert client.get(f"/cells/{open_cell.code}/").status_code == 404
    assert client.get(f"/cells/{closed.code}/").status_code == 200
    html = page(client, "/cells/")
    assert "SP-0002" in html
    assert "SP-0001" not in html
    assert "SP-0001" not in client.get("/cells.csv").content.decode()
    assert 'href="/cells/SP-0001/"' not in page(client, "/side-by-side/", cell="SP-0001 SP-0002")


def test_side_by_side_keeps_the_chosen_order_and_common_axes() -> None:
    make_story("SP-0001", coverage=0.3, seed=1)
    make_story("SP-0002", coverage=0.9, seed=5)
    client = signed_in("reviewer")
    html = page(client, "/side-by-side/", cell="SP-0001,SP-0002")
    assert "Two cells, capacity on the same axes. Recipes shown." in html
    assert html.index(">SP-0001<") < html.index(">SP-0002<")
    maps = {part.split('"')[0] for part in html.split('data-y="')[1:]}
    assert len(maps) == 1
    by_coverage = page(client, "/side-by-side/", cell="SP-0001,SP-0002", order="coverage")
    assert by_coverage.index(">SP-0002<") < by_coverage.index(">SP-0001<")


def test_recipes_are_hidden_on_request_and_unknown_codes_are_named() -> None:
    story = make_story("SP-0001")
    html = page(signed_in("reviewer"), "/side-by-side/", cell="SP-0001 SP-9999", hide="1")
    assert str(story.cell.build.revision) not in html
    assert "SP-9999" in html
    assert "Show recipes" in html


def test_a_view_is_kept_under_a_name_once() -> None:
    client = signed_in("reviewer")
    for _ in range(2):
        client.post(
            "/side-by-side/keep/", {"name": "passivation against pores", "query": "cell=SP-0001", "note": ""}
        )
    assert KeptView.objects.count() == 1
    assert "passivation against pores" in page(client, "/side-by-side/")
    assert signed_in("bench").post("/side-by-side/keep/", {"name": "x", "query": ""}).status_code == 403


def test_records_are_sentences_and_the_chain_is_walked() -> None:
    make_story("SP-0413")
    client = signed_in("lead")
    html = page(client, "/records/")
    assert 'began <a href="/cells/SP-0413/">the dissection of SP-0413</a>' in html
    assert "each fits the one before" in page(client, "/records/chain/")
    found = page(client, "/records/", verb="amended")
    assert "amended “thickness” in" in found
    assert "began <a" not in found


def test_search_finds_whatever_the_case_and_leads_on_when_there_is_one() -> None:
    make_cell("SP-0413")
    make_cell("SP-0414")
    from teardown.cells.actions.search import refresh_search_text

    refresh_search_text(Cell.objects.all())
    client = signed_in("analyst")
    assert client.get("/search/", {"q": "sp-0413"}).url == "/cells/SP-0413/"  # type: ignore[attr-defined]
    assert "SP-0414" in page(client, "/search/", q="ＳＰ-041")
    assert "Nothing holds" in page(client, "/search/", q="zzzz")


def test_judgements_that_differ_are_said_to() -> None:
    story = make_story("SP-0413")
    make_judgement(story.cell, make_user("reviewer"), "mode.pore_closure")
    client = signed_in("operator")
    assert "judgements differ" in page(client, "/cells/")
    assert "open: judgements differ" in page(client, "/cells/SP-0413/")


def test_a_judge_does_not_see_what_others_judged_before_judging() -> None:
    make_story("SP-0413")
    client = signed_in("reviewer")
    for address in ("/cells/", "/cells/SP-0413/", "/side-by-side/?cell=SP-0413", "/cells.csv"):
        shown = re.sub("<select.*?</select>", "", client.get(address).content.decode(), flags=re.DOTALL)
        assert "passivation" not in shown, address
    assert "SP-0413" not in client.get("/cells.csv", {"mode": "mode.passivation"}).content.decode()
    assert "hidden until you have judged" in page(client, "/cells/")


def test_the_bench_does_not_see_curve_and_amounts_before_the_cell_is_closed() -> None:
    story = make_story("SP-0413")
    client = signed_in("bench")
    html = page(client, "/cells/SP-0413/")
    assert '<svg class="drawing"' not in html
    assert "4\u202f%" not in html
    assert "bismuth sulfide" in html
    assert "data-figure=" not in page(client, "/side-by-side/", cell="SP-0413")
    Cell.objects.filter(pk=story.cell.pk).update(closed_at=timezone.now())
    assert '<svg class="drawing"' in page(client, "/cells/SP-0413/")


@pytest.fixture
def reader(django_user_model: type[User]) -> Client:
    return signed_in("analyst")


@pytest.mark.parametrize(
    ("address", "most"),
    [("/", 16), ("/cells/", 24), ("/cells/?order=-coverage&state=measured", 24), ("/records/", 24)],
)
def test_a_page_costs_the_same_for_one_cell_and_for_many(
    reader: Client, django_assert_max_num_queries: Callable[..., Any], address: str, most: int
) -> None:
    build = make_build()
    for seed in range(2):
        make_story(build=build, seed=seed)
    with django_assert_max_num_queries(most) as few:
        reader.get(address)
    for seed in range(3):
        make_story(build=build, seed=seed, photographs=3)
    with django_assert_max_num_queries(most) as many:
        reader.get(address)
    assert len(many) <= len(few)


def test_a_cell_page_costs_the_same_however_rich(
    reader: Client, django_assert_max_num_queries: Callable[..., Any]
) -> None:
    poor, rich = make_story(photographs=1), make_story(photographs=6)
    with django_assert_max_num_queries(60) as few:
        page(reader, f"/cells/{poor.cell.code}/")
    with django_assert_max_num_queries(60) as many:
        page(reader, f"/cells/{rich.cell.code}/")
    assert len(many) == len(few)


def test_side_by_side_costs_the_same_for_two_cells_and_for_six(
    reader: Client, django_assert_max_num_queries: Callable[..., Any]
) -> None:
    codes = [make_story(seed=seed).cell.code for seed in range(6)]
    with django_assert_max_num_queries(35) as few:
        page(reader, "/side-by-side/", cell=codes[:2])
    with django_assert_max_num_queries(35) as many:
        page(reader, "/side-by-side/", cell=codes)
    assert len(many) == len(few)

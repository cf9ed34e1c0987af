"""The pages where a cell is judged, decided and awaited."""

import datetime as dt

import pytest
from django.urls import reverse

from teardown.findings.actions import judge
from teardown.findings.dossier.waiting import count_waiting, waiting_for
from teardown.findings.models import Judgement
from tests.findings.findings import NOW, Opened, make_entry, passivated, rooted
from tests.makers import make_build, make_cell, make_revision, make_test, make_user

pytestmark = pytest.mark.django_db


@pytest.fixture
def opened():
    return Opened()


def said(opened: Opened, **changes: str) -> dict[str, str]:
    """Fill the form: passivation, with an image and a phase for it."""
    return {
        "lines": "3",
        "do": "keep",
        "mode_0": "mode.passivation",
        "role_0": "root",
        "confidence_0": "confirmed",
        "severity_0": "4",
        f"sample_measure:{opened.image.pk}_0": "for",
        f"phase:{opened.phase.pk}_0": "for",
        "note": "Bright metal under a thin rim.",
    } | changes


def test_the_form_keeps_a_judgement(client, opened):
    client.force_login(make_user("analyst"))
    answer = client.post(reverse("judge", args=[opened.cell.code]), said(opened))
    assert answer.status_code == 302
    (kept,) = Judgement.objects.standing().with_grounds()
    assert (kept.root.mode.key, kept.root.severity) == ("mode.passivation", 4)
    assert len(kept.root.evidence.all()) == 2


def test_everything_found_can_be_pointed_at(client, opened):
    client.force_login(make_user("analyst"))
    page = client.get(reverse("judge", args=[opened.cell.code])).content.decode()
    for words in (
        "cover by a film",
        "oxide coverage",
        "iron hydroxide",
        "148 complete cycles",
        "image measure",
    ):
        assert words in page


def test_checking_says_what_is_missing_and_keeps_nothing(client, opened):
    client.force_login(make_user("analyst"))
    form = said(opened, do="check")
    del form[f"phase:{opened.phase.pk}_0"]
    page = client.post(reverse("judge", args=[opened.cell.code]), form).content.decode()
    assert "The evidence holds up <strong>possible</strong>" in page
    assert "a second kind of measurement besides image measure" in page
    assert not Judgement.objects.exists()


def test_a_refusal_loses_nothing_typed(client, opened):
    client.force_login(make_user("analyst"))
    form = said(opened)
    del form[f"phase:{opened.phase.pk}_0"]
    page = client.post(reverse("judge", args=[opened.cell.code]), form).content.decode()
    assert "holds up “possible”" in page
    assert "Bright metal under a thin rim." in page
    assert not Judgement.objects.exists()


def test_evidence_without_a_mode_asks_for_the_mode(client, opened):
    client.force_login(make_user("analyst"))
    form = said(opened, **{f"entry:{opened.entry.pk}_1": "for"})
    page = client.post(reverse("judge", args=[opened.cell.code]), form).content.decode()
    assert "Choose the mode that this evidence is for." in page


def test_one_more_mode_adds_a_line(client, opened):
    client.force_login(make_user("analyst"))
    page = client.post(reverse("judge", args=[opened.cell.code]), said(opened, do="more"))
    assert len(page.context["form"].lines) == 4


@pytest.mark.parametrize("lines", ["-4", "many", "900"])
def test_a_forged_number_of_lines_stays_in_bounds(client, opened, lines):
    client.force_login(make_user("analyst"))
    page = client.post(reverse("judge", args=[opened.cell.code]), said(opened, do="check", lines=lines))
    assert page.status_code == 200
    assert 1 <= len(page.context["form"].lines) <= 8


def test_one_begins_from_ones_own_judgement(client, opened):
    analyst = make_user("analyst")
    judge(cell=opened.cell, assigned=passivated(opened), by=analyst, note="First look.")
    client.force_login(analyst)
    form = client.get(reverse("judge", args=[opened.cell.code])).context["form"]
    assert form.initial["mode_0"] == "mode.passivation"
    assert form.initial[f"phase:{opened.phase.pk}_0"] == "for"


def test_another_judgement_stays_hidden_until_one_looks(client, opened):
    judge(cell=opened.cell, assigned=passivated(opened), by=make_user("analyst"))
    client.force_login(make_user("reviewer"))
    address = reverse("judge", args=[opened.cell.code])
    page = client.get(address).content.decode()
    assert "1 judgement of others stands and is hidden from you" in page
    assert "Judgements that stand" not in page
    client.post(reverse("look_at_judgements", args=[opened.cell.code]))
    assert "Judgements that stand" in client.get(address).content.decode()


def test_the_bench_proposes_and_is_not_shown_the_curve(client, opened):
    client.force_login(make_user("bench"))
    page = client.get(reverse("judge", args=[opened.cell.code])).content.decode()
    assert "Keep my proposal" in page
    assert "complete cycles" not in page
    client.post(reverse("judge", args=[opened.cell.code]), said(opened))
    assert Judgement.objects.get().proposal


def test_a_decision_is_kept_with_its_reason(client, opened):
    one = judge(cell=opened.cell, assigned=passivated(opened), by=make_user("analyst"))
    lead = make_user("lead")
    judge(cell=opened.cell, assigned=rooted("short", opened), by=lead)
    client.force_login(lead)
    answer = client.post(
        reverse("decide", args=[opened.cell.code]), {"outcome": one.pk, "reason": "Two kinds agree."}
    )
    assert answer.status_code == 302
    page = client.get(reverse("judge", args=[opened.cell.code])).content.decode()
    assert "Passivation by an oxide film, confirmed; decided." in page
    assert "Two kinds agree." in page


def test_a_decision_without_reason_is_asked_for_it(client, opened):
    lead = make_user("lead")
    one = judge(cell=opened.cell, assigned=passivated(opened), by=lead)
    client.force_login(lead)
    answer = client.post(reverse("decide", args=[opened.cell.code]), {"outcome": one.pk, "reason": ""})
    assert answer.status_code == 422


@pytest.mark.parametrize(
    ("name", "role", "method"),
    [
        ("judge", "operator", "get"),
        ("judge", "guest", "get"),
        ("look_at_judgements", "bench", "post"),
        ("decide", "analyst", "post"),
    ],
)
def test_who_may_not_is_told_who_may(client, opened, name, role, method):
    client.force_login(make_user(role))
    answer = getattr(client, method)(reverse(name, args=[opened.cell.code]))
    assert answer.status_code == 403
    assert "Only " in answer.content.decode()


def test_judging_asks_a_fixed_number_of_questions(client, opened, django_assert_max_num_queries):
    for number in range(12):
        make_entry(opened.dissection, "iron.shed", extent="some", value_text=f"spot {number}")
    for role in ("analyst", "reviewer"):
        judge(cell=opened.cell, assigned=passivated(opened), by=make_user(role))
    lead = make_user("lead")
    judge(cell=opened.cell, assigned=passivated(opened), by=lead)
    client.force_login(lead)
    with django_assert_max_num_queries(48):
        client.get(reverse("judge", args=[opened.cell.code]))


def test_an_observation_of_all_places_is_pointed_at_once(client, opened):
    for width in "123":
        make_entry(opened.dissection, "iron.adhesion", value_text="peels", face="A", height="M", width=width)
    client.force_login(make_user("analyst"))
    page = client.get(reverse("judge", args=[opened.cell.code])).content.decode()
    assert page.count("adhesion to collector: peels: speaks for or against") == 3  # one a mode
    assert "3 places" in page


def test_what_was_pointed_at_stands_open_and_routine_is_left_out(client, opened):
    leak = make_entry(opened.dissection, "seal.look", value_text="damp")
    make_entry(opened.dissection, "place.oxygen_ppm", value=3.0, unit="ppm", value_text="3")
    analyst = make_user("analyst")
    client.force_login(analyst)
    address = reverse("judge", args=[opened.cell.code])
    groups = {group["heading"]: group for group in client.get(address).context["groups"]}
    assert groups["iron electrode"]["open"]
    assert not groups["seal"]["open"]
    assert "oxygen in the box" not in client.get(address).content.decode()
    shown = client.post(address, said(opened, do="check", **{f"entry:{leak.pk}_0": "against"}))
    assert {group["heading"]: group for group in shown.context["groups"]}["seal"]["open"]


# --- Waiting --------------------------------------------------------------------------------------


def waits(recipe: str, *, end: str = "capacity_limit"):
    build = make_build(make_revision(recipe))
    cell = make_cell(build=build)
    make_test(cell, end=end)
    return cell


def test_ended_cells_wait_until_they_are_opened():
    lead = make_user("lead")
    cell = waits("R-1")
    make_test(make_cell())
    make_cell()
    assert [row.cell for row in waiting_for(lead, NOW).rows] == [cell]
    assert count_waiting(lead) == 1
    Opened(waits("R-2"))
    assert [row.cell for row in waiting_for(lead, NOW).rows] == [cell]


def test_the_recipe_opened_least_comes_first_and_says_so():
    lead = make_user("lead")
    often, seldom = waits("R-1"), waits("R-2")
    for _ in range(2):
        opened = make_cell(build=often.build)
        Opened(opened)
    rows = waiting_for(lead, NOW).rows
    assert [row.cell for row in rows] == [seldom, often]
    assert rows[0].reason == "Recipe R-2 has not been opened yet."
    assert "opened 2 times" in rows[1].reason


def test_what_keeps_badly_comes_first():
    lead = make_user("lead")
    waits("R-1")
    leaky = waits("R-1b", end="leak")
    row = waiting_for(lead, NOW).rows[0]
    assert row.cell == leaky
    assert "not drawn, so rates must say so" in row.reason


def test_a_stop_is_not_called_a_failure(client):
    waits("R-1", end="planned")
    client.force_login(make_user("lead"))
    assert "no failure: stopped" in client.get(reverse("waiting")).content.decode()


def test_the_bench_is_not_told_recipes(client):
    waits("R-77")
    client.force_login(make_user("bench"))
    page = client.get(reverse("waiting")).content.decode()
    assert "R-77" not in page
    assert "Its recipe has not been opened yet." in page


def test_waiting_asks_a_fixed_number_of_questions(django_assert_num_queries):
    lead = make_user("lead")
    _ = lead.roles
    waits("R-1")
    with django_assert_num_queries(6):
        waiting_for(lead, NOW)
    for number in range(5):
        waits(f"R-{number + 2}")
    with django_assert_num_queries(6):
        waiting_for(lead, NOW + dt.timedelta(days=1))


def test_nobody_waits(client):
    client.force_login(make_user("lead"))
    assert "Nothing to open." in client.get(reverse("waiting")).content.decode()

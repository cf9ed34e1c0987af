"""After the bench: a late term looked for on old photographs, a section that lied, two opinions.

Most of what these need is there before; the moves that decide are made in the browser.
"""

import datetime as dt
import re

import pytest
from django.urls import reverse
from django.utils import timezone
from playwright.sync_api import expect

from teardown.dissection import actions as bench
from teardown.dissection.models import Entry, Photograph, Section, Signature
from teardown.files.models import Run
from teardown.files.tasks import work_off
from teardown.findings.actions import Assigned, judge
from teardown.findings.models import Decision
from teardown.imaging.actions import add_micrograph
from teardown.imaging.models import SampleMeasure
from teardown.vocabulary.actions import new_term
from teardown.vocabulary.models import Term
from tests import makers
from tests.dissection.makers import ended
from tests.imaging.pictures import section_file
from tests.journeys.test_bench_stories import keep_photograph, stored

pytestmark = [pytest.mark.browser, pytest.mark.long, pytest.mark.django_db(transaction=True)]
LOOKED_AT = ["extent:some"] * 7 + ["state:absent"] * 11 + ["state:cannot tell"] * 2


def test_a_late_insight(at_the_bench, live_server, chemist, cell):
    """64 cells read "not asked"; 20 are looked at, with their rectangles; March gives March's answer."""
    for number in range(64):
        earlier = ended(f"SP-{1000 + number}", chemist).dissection
        shown = stored(earlier, chemist, number)
        bench.label_photograph(photograph=shown, by=chemist, component="iron_electrode", place="B")
    bench.label_photograph(
        photograph=stored(cell.dissection, chemist, 99, minutes=44), by=chemist, component="iron_electrode",
        place="B",
    )  # fmt: skip
    old = Term.objects.get(key="iron.film_green")
    march = timezone.now() - dt.timedelta(days=120)
    said = ("absent", "absent", "cannot tell")
    for photograph, state in zip(Photograph.objects.all()[:3], said, strict=True):
        bench.log_entry(
            dissection=photograph.dissection, term=old.key, state=state, photo=photograph.key, place="whole",
            source="photo", box=(0, 0, 1, 1), by=chemist, at=march, observed_at=march,
        )  # fmt: skip
    lead = makers.make_user("lead")
    data = {"card": "iron", "kind": "presence", "per": "place", "extent": True,
            "component": "component.iron_electrode"}  # fmt: skip
    term = new_term(kind="field", words="green film, edge first", by=lead, data=data)
    page = at_the_bench()
    page.goto(f"{live_server.url}{reverse('look_back', args=[old.key])}?on={march.date()}")
    saved = page.locator(".sentence").inner_text()
    assert saved.startswith("Of 3 cells asked: 0 present, 2 absent, 1 cannot tell.")
    page.goto(f"{live_server.url}{reverse('look_back', args=[term.key])}")
    expect(page.locator(".sentence")).to_contain_text("65 cells read “not asked” until somebody looks")
    expect(page.locator("main")).to_contain_text(f"Asked since version {term.asked_since.number}")
    expect(page.locator("figure.photograph")).to_have_count(65)
    page.select_option("#face", "B")
    page.fill("#within", "10")
    with page.expect_navigation():
        page.get_by_role("button", name="Show").first.click()
    expect(page.locator("figure.photograph")).to_have_count(64)
    page.locator("figure.photograph a").first.click()
    for number, said in enumerate(LOOKED_AT):
        page.select_option("#id_said", said)
        if number == 0:  # drawn over the picture; typed for the others
            draw_box(page, (0.25, 0.1), (0.6, 0.75))
        else:
            page.fill("#id_left", "0,25")
        with page.expect_navigation():
            page.get_by_role("button", name="Keep").click()
    page.goto(f"{live_server.url}{reverse('look_back', args=[term.key])}?face=B&within=10")
    sentence = "Of 20 cells asked: 7 present, 11 absent, 2 cannot tell. 45 cells read “not asked”"
    expect(page.locator(".sentence")).to_contain_text(sentence)
    expect(page.locator("figure.photograph")).to_have_count(44)
    late = Entry.objects.filter(term=term)
    assert all(entry.photo and entry.box[0] == pytest.approx(0.25, abs=0.01) for entry in late)
    assert {entry.vocabulary.number for entry in late} == {term.asked_since.number}
    drawn = late.order_by("pk").first()
    assert drawn.box == [pytest.approx(side, abs=0.02) for side in (0.25, 0.1, 0.6, 0.75)]
    bench.log_entry(
        dissection=cell.dissection, term=old.key, extent="much", state="present", place="B.M2", by=chemist
    )
    page.goto(f"{live_server.url}{reverse('look_back', args=[old.key])}?on={march.date()}")
    assert page.locator(".sentence").inner_text() == saved
    page.goto(f"{live_server.url}{reverse('look_back', args=[old.key])}")
    expect(page.locator(".sentence")).to_contain_text("Of 4 cells asked: 1 present")
    assert page.troubles == []


def draw_box(page, start, end):
    """Draw a rectangle over the photograph, between two corners in fractions of it."""
    picture = page.locator("[data-look-box] img")
    expect(picture).not_to_have_js_property("naturalWidth", 0)
    around = picture.bounding_box()
    at = [(around["x"] + x * around["width"], around["y"] + y * around["height"]) for x, y in (start, end)]
    page.mouse.move(*at[0])
    page.mouse.down()
    page.mouse.move(*at[1], steps=4)
    page.mouse.up()


def test_the_section_that_lied(at_the_bench, live_server, cell, chemist):
    """Water raises the flag: its image is left out of coverage, counted by choice; then a new plane."""
    piece = bench.cut_sample(dissection=cell.dissection, component="iron_electrode", place="A.M2", by=chemist)
    bench.mount_samples(samples=[(piece, "across, air face up")], by=chemist, code="M-0077")
    analyst = makers.make_user("analyst", username="analyst")
    page = at_the_bench(who=makers.make_user("lead", username="lead"))

    def polish(lubricant, depth=""):
        page.goto(f"{live_server.url}{reverse('sample', args=[piece.code])}")
        page.get_by_text("Polish M-0077").click()
        page.fill("#id_abrasive", "silica")
        page.fill("#id_lubricant", lubricant)
        page.fill("#id_depth_removed_um", depth)
        with page.expect_navigation():
            page.get_by_role("button", name="A new section").click()

    def measured(seed):
        made = add_micrograph(
            picture=section_file(seed), name=f"{seed}.png", by=analyst, sample=piece, pixel_size_um=0.2
        )
        work_off()
        page.goto(f"{live_server.url}{reverse('micrograph', args=[made.pk])}")
        return made

    def pool():
        latest = Run.objects.filter(function="imaging.sample").latest("pk")
        return latest, SampleMeasure.objects.filter(run=latest, quantity="oxide_coverage").first()

    polish("water")
    wet = Section.objects.get()
    assert wet.artefacts == ["artefact.water"]
    lied = measured(1)
    told = page.locator("#coverage")
    expect(told).to_contain_text("M-0077, section 1: water used by mistake. It is measured, and left out")
    assert told.locator(".flag").get_attribute("title") == "M-0077, section 1: water used by mistake"
    assert pool()[1] is None
    page.fill("#coverage-reason", "the twin shows the same rim")
    with page.expect_navigation():
        page.get_by_role("button", name="Count it all the same").click()
    work_off()
    asked, counted = pool()
    assert asked.settings["coverage"]["chosen"] | {"at": ""} == {
        "count": True, "reason": "the twin shows the same rim", "by": "The lead", "at": "",
    }  # fmt: skip
    assert counted.n == 1
    page.reload()
    expect(page.locator("#coverage")).to_contain_text(
        "all the same, says The lead: the twin shows the same rim"
    )
    page.fill("#coverage-reason", "a fresh plane is there")
    with page.expect_navigation():
        page.get_by_role("button", name="Leave it out again").click()
    work_off()
    polish("ethanol", "85")
    second = Section.objects.latest("pk")
    assert (second.number, second.depth_removed_um, second.artefacts) == (2, 85, [])
    expect(page.locator("section:has(#mounts)")).to_contain_text("section 2")
    expect(page.locator("section:has(#mounts)")).to_contain_text("85 µm deeper")
    true = measured(2)
    assert page.locator("#coverage").count() == 0
    assert (true.ties.get().plane(), lied.ties.get().plane()) == (second, wet)
    coverage = pool()[1]
    assert (coverage.n, coverage.details["marked"]["counted"]) == (1, False)
    page.goto(f"{live_server.url}{reverse('cell', args=['SP-0413'])}")
    expect(page.locator("main")).to_contain_text("1 field with an artefact (water used by mistake) left out")
    assert page.troubles == []


def test_reviewers_disagree_one_decides_and_the_signature_tells_what_came_later(
    at_the_bench, live_server, cell, chemist
):
    """Both opinions stand; the disagreement is told, counted and decided; it is signed, and amended."""
    dissection = cell.dissection
    evidence = keep_photograph(dissection, chemist, 7, component="tab", caption="weld black")
    bench.open_cell(dissection=dissection, by=chemist)
    seen = bench.log_entry(
        dissection=dissection, term="iron.cover", extent="much", state="present", place="A.M2", by=chemist
    )
    weld = bench.log_entry(
        dissection=dissection, term="separator.state", state="cannot tell", photo=evidence.key, by=chemist
    )
    analyst = makers.make_user("analyst", username="analyst")
    passivation = Term.objects.get(key="mode.passivation")
    root = Assigned(mode=passivation, role="root", confidence="possible", for_=[seen])
    judge(cell=cell, assigned=[root], by=analyst)
    reviewer = makers.make_user("reviewer", username="reviewer")
    page = sign_in(at_the_bench, live_server, reviewer, reverse("judge", args=["SP-0413"]))
    line = page.locator("fieldset.line").first
    other = Term.objects.filter(kind="mode").get(words__contains="collector")
    line.locator("select").nth(0).select_option(label=other.words)
    line.locator("select").nth(1).select_option("root")
    line.locator("select").nth(2).select_option("possible")
    page.locator("table.evidence tbody select").first.select_option("for")
    with page.expect_navigation():
        page.get_by_role("button", name="Keep my judgement").click()
    page.goto(f"{live_server.url}{reverse('judge', args=['SP-0413'])}")
    expect(page.locator(".sentence")).to_contain_text("Open disagreement")
    given = page.locator("section:has(#given-head)")
    for words in (passivation.words, other.words, "The analyst", "The reviewer", "possible"):
        expect(given).to_contain_text(words)
    page.goto(f"{live_server.url}{reverse('modes')}")
    expect(page.locator("main")).to_contain_text("1 in open disagreement")
    lead = makers.make_user("lead", username="lead")
    page = sign_in(at_the_bench, live_server, lead, reverse("judge", args=["SP-0413"]))
    with page.expect_navigation():  # who decides has looked at what stands
        page.get_by_role("button", name="Look now").click()
    page.locator("section:has(#decide-head) input[type=radio]").first.check()
    page.fill("section:has(#decide-head) textarea", "the rim is seen in section")
    with page.expect_navigation():
        page.get_by_role("button", name="This one holds").click()
    page.goto(f"{live_server.url}{reverse('judge', args=['SP-0413'])}")
    decided = re.compile(r"Decided by The lead on .*: the rim is seen in section")
    expect(page.locator("main")).to_contain_text(decided)
    assert Decision.objects.get().by == lead
    page = at_the_bench()
    page.goto(f"{live_server.url}{reverse('bench_close', args=['SP-0413'])}")
    page.fill("#id_answer", "the parts were not weighed")
    page.fill("#id_password", "a long enough one")
    page.get_by_role("button", name="Close as complete").click()
    page.get_by_text(re.compile("Closed as complete by The bench")).wait_for()
    signature = Signature.objects.get()
    signed = page.locator("section:has(#signed-head) tbody tr").inner_text()
    assert "The bench" in signed
    assert signature.get_meaning_display() in signed
    assert str(signature.record_seq) in signed
    bench.amend(entry=weld, reason="misread", state="absent", by=chemist)
    page.goto(f"{live_server.url}{reverse('bench_close', args=['SP-0413'])}")
    expect(page.locator(".sentence")).to_contain_text(f"up to record {signature.record_seq}; 1 later")
    page.goto(f"{live_server.url}{reverse('bench_sheet', args=['SP-0413'])}")
    page.get_by_text("1 later than signed").wait_for()
    page.goto(f"{live_server.url}{reverse('photograph', args=[evidence.key])}")
    expect(page.locator("main")).to_contain_text("What rests on it")


def sign_in(at_the_bench, live_server, who, path):
    """Open a page as somebody who need not be able to stand at the bench."""
    page = at_the_bench(who=who)
    page.goto(live_server.url + path)
    return page

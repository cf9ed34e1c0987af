"""A dissection as it is lived through, with the lines by which each part of it passes.

What only people can judge (gloves, the feel of 19 mm, an alarm in a loud hood) stands on the trial sheet.
"""

import datetime as dt
import io
import re

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from PIL import Image

from teardown.cells.models import Material
from teardown.dissection import actions as bench
from teardown.dissection.models import Entry, Photograph, Sample, Section, Signature
from teardown.vocabulary.models import Term
from tests import makers
from tests.dissection.makers import ended
from tests.journeys.gloves import fits, go, kept_here, say, send_now, touch, type_number, until

pytestmark = [pytest.mark.browser, pytest.mark.long, pytest.mark.django_db(transaction=True)]


def picture(seed=1):
    """Draw a sharp picture that is like no other."""
    file = io.BytesIO()
    Image.effect_noise((640, 480), 40 + seed).save(file, "JPEG")
    return {"name": f"{seed}.jpg", "mimeType": "image/jpeg", "buffer": file.getvalue()}


def keep_photograph(dissection, by, seed=1, **label):
    kept = bench.add_photograph(
        file=SimpleUploadedFile(f"{seed}.jpg", picture(seed)["buffer"]), dissection=dissection, by=by
    )
    if label:
        bench.label_photograph(photograph=kept, by=by, **label)
    return kept


@pytest.fixture
def without_sulfide(chemist):
    revision = makers.make_revision(additive="bismuth oxide")
    Material.objects.filter(name="bismuth oxide").update(constituents=["Bi"])
    return ended("SP-0500", chemist, revision)


ON_THE_WAY = [
    ("arrival", ["label and mark agree", "intact", "upright", "none looked for"]),
    ("leak", ["neutral", "neutral", "alkaline"]),
]
OPENING = ["unscrewed", "hiss", "none looked for", "none looked for", "none looked for"]


def test_a_first_cell_on_a_first_day(at_the_bench, live_server, cell):
    """Fourteen values to Opened and behind it: no card scrolls, each is kept at once, the sheet shows all."""
    page = at_the_bench()
    assert page.locator(".bench-card.here .bench-cautions").is_visible()
    kept = 0
    for card, words in ON_THE_WAY:
        go(page, card)
        for said in words:
            say(page, said)
            kept += 1
            page.locator('[data-part="said-words"]', has_text="Kept here.").wait_for()
            assert fits(page)
    go(page, "weighing")
    type_number(page, "41.18", read_twice=True)
    go(page, "electrical")
    type_number(page, "0.914")
    say(page, "open")
    page.set_input_files("#shutter", [picture(seed) for seed in range(4)])
    go(page, "opening")
    say(page, "Opened now")
    for said in OPENING:
        say(page, said)
    assert fits(page)
    send_now(page)
    until(lambda: Entry.objects.current().count() >= 14 and Photograph.objects.count() == 4)
    assert cell.dissection.opened() is not None
    page.goto(f"{live_server.url}{reverse('bench_sheet', args=['SP-0413'])}")
    sheet = page.locator("main").inner_text()
    for entry in Entry.objects.current().with_words().exclude(term__key="opening.opened"):
        assert entry.said in sheet
    assert sheet.count("The bench") >= 14
    assert page.troubles == []


READINGS = {"sample_mL": "2.000", "made_up_mL": "100.0", "aliquot_mL": "10.00", "acid_mol_L": "0.1000"}


def vial(dissection, by, parent=None):
    of = {"parent": parent} if parent else {"component": "electrolyte"}
    return bench.cut_sample(dissection=dissection, by=by, purpose="titration", **of)


def read_burette(dissection, by, sample, first, second):
    for name, value in (READINGS | {"first_mL": first, "second_mL": second}).items():
        bench.log_entry(
            dissection=dissection, term=f"titration.{name}", value=value, sample=sample.code, by=by
        )


def test_a_burette_and_a_swapped_reading(at_the_bench, live_server, without_sulfide, chemist):
    """Readings are kept and worked out; a swap is caught in words; the acid is amended, both stay."""
    dissection = without_sulfide.dissection
    whole = vial(dissection, chemist)
    first, second, third = (vial(dissection, chemist, whole) for _ in range(3))
    read_burette(dissection, chemist, first, "11.95", "13.10")
    read_burette(dissection, chemist, second, "11.93", "13.12")
    page = at_the_bench(code="SP-0500", card="titration")
    touch(page, f'.bench-card.here [data-sample="{third.code}"]')
    for value in [*READINGS.values(), "13.10"]:
        type_number(page, value, read_twice=value == "13.10")
        page.wait_for_timeout(100)
    type_number(page, "11.95")
    assert "is below the one before it" in page.locator('[data-part="said-words"]').inner_text()
    send_now(page)
    until(lambda: Entry.objects.filter(sample=third).count() == 5)
    page.goto(f"{live_server.url}{reverse('bench_sheet', args=['SP-0500'])}#titrations")
    assert re.search(r"0\.5[89]\d?\s?mol/L", page.locator("#titrations").inner_text())
    acid = Entry.objects.get(sample=first, term__key="titration.acid_mol_L")
    page.goto(f"{live_server.url}{reverse('entry', args=[acid.key])}")
    page.fill("#id_value", "0.1012")
    page.locator('form[action$="/amend/"] select[name="reason"]').select_option("reason.instrument_out")
    page.locator('form[action$="/amend/"] button').click()
    page.get_by_text("what it said before stays to be seen").wait_for()
    assert page.locator(".struck", has_text="0.1000 mol/L").count() == 1
    assert page.get_by_text("0.1012 mol/L").count() >= 1


def test_a_sour_recipe_offers_no_acid_and_keeps_the_route(at_the_bench, cell, chemist):
    """The card comes first and no acid step is offered; reading it unlocks nothing; the route is kept."""
    sour = vial(cell.dissection, chemist)
    page = at_the_bench(card="titration")
    card = page.locator(".bench-card.here")
    assert "Sulfide and acid give hydrogen sulfide" in card.locator("summary").inner_text()
    assert card.locator('[data-term="titration.first_mL"]').count() == 0
    touch(page, ".bench-card.here .bench-cautions > summary")
    page.locator(".bench-card.here .bench-cautions form button").click()
    assert card.locator('[data-term="titration.first_mL"]').count() == 0
    assert card.get_by_text("No acid is asked for here").is_visible()
    go(page, "titration_about")
    touch(page, f'.bench-card.here [data-sample="{sour.code}"]')
    touch(page, '.bench-card.here .bench-row[data-row="titration.route"]')
    page.locator(".bench-card.here .bench-ask.open textarea").fill("sent out, by the house's own rule")
    touch(page, ".bench-card.here .bench-ask.open .bench-words button")
    send_now(page)
    until(lambda: Entry.objects.filter(term__key="titration.route", sample=sour).exists())


def test_the_wrong_tray(at_the_bench, live_server, cell, chemist):
    """What was sent under the wrong cell is withdrawn there with its reason, copied with its own times."""
    ended("SP-0424", chemist)
    page = at_the_bench(card="separator")
    say(page, "tear")
    say(page, "from both sides")
    send_now(page)
    page.evaluate("localStorage.setItem('bench-last-touch', Date.now() - 700000)")
    touch(page, '[data-deed="next"]')
    page.wait_for_selector('[data-dialog="scan"][open]')
    page.fill("#bench-scan", "0424")
    touch(page, '[data-dialog="scan"] form button')
    told = page.locator('[data-part="scan-said"]')
    assert told.inner_text() == "This is 0424, you were on 0413"
    assert told.evaluate("(e) => getComputedStyle(e).fontSize") == "60px"
    assert page.locator('[data-deed="move"]').inner_text() == "Switch, and move 2 entries"
    touch(page, '[data-deed="move"]')
    page.wait_for_url("**/SP-0424/**")
    moved = Entry.objects.current().filter(dissection__cell__code="SP-0424")
    until(lambda: moved.count() == 2)
    gone = Entry.objects.filter(dissection=cell.dissection, state="withdrawn")
    assert {str(entry.reason) for entry in gone} == {"wrong cell"}
    assert {entry.observed_at for entry in moved} == {entry.supersedes.observed_at for entry in gone}
    page.goto(f"{live_server.url}{reverse('entry', args=[moved[0].key])}")
    assert "moved from SP-0413" in page.locator("main").inner_text()


def test_photographs_that_nobody_labelled(at_the_bench, live_server, cell, chemist):
    """Closing counts them and opens them one after another; a glove is kept, as no evidence, and hidden."""
    bench.open_cell(dissection=cell.dissection, by=chemist)
    page = at_the_bench(card="iron")
    page.set_input_files("#shutter", [picture(seed) for seed in range(6)])
    send_now(page)
    until(lambda: Photograph.objects.count() == 6)
    page.goto(f"{live_server.url}{reverse('bench_close', args=['SP-0413'])}")
    page.get_by_text("6 photographs without a component").wait_for()
    page.get_by_role("link", name="say what they show").click()
    assert page.locator("figure.photograph").count() == 6
    page.locator("figure.photograph a").first.click()
    for _ in range(5):
        assert "min after opening" in page.locator(".sentence").inner_text()
        page.select_option("#id_part", label="iron electrode")
        with page.expect_navigation():
            page.get_by_role("button", name="say what it shows").click()
    page.fill("#id_not_evidence", "accidental")
    page.get_by_role("button", name="say what it shows").click()
    page.get_by_text("no evidence: accidental").first.wait_for()
    assert Photograph.objects.unlabelled().count() == 0
    page.goto(f"{live_server.url}{reverse('photographs')}")
    assert page.locator("figure.photograph").count() == 5
    page.goto(f"{live_server.url}{reverse('photographs')}?hidden=on")
    assert page.locator("figure.photograph").count() == 6


def test_warm_powder_and_a_clock_set_back(at_the_bench, cell, chemist):
    """Any warming shows the card; +5 and +7 min are kept by the steady clock, whatever the wall clock did."""
    page = at_the_bench(card="opening")
    page.clock.install()
    page.reload()
    page.wait_for_selector(".scripted .bench-card.here")
    say(page, "Opened now")
    kept_here(page, 1)
    touch(page, '[data-deed="next"]')
    page.evaluate(
        "history.replaceState(null, '', '?card=warm'); dispatchEvent(new PopStateEvent('popstate'))"
    )
    page.clock.fast_forward("05:00")
    say(page, "warm")
    page.wait_for_selector(".bench-card.here .bench-cautions[open]")
    heading = page.get_by_role("heading", name="Reduced iron can heat itself in air")
    assert heading.first.is_visible()
    touch(page, ".bench-card.here .bench-cautions[open] form button")
    page.clock.set_system_time(dt.datetime.now(dt.UTC) - dt.timedelta(hours=1))
    page.clock.fast_forward("02:00")
    type_number(page, "48", read_twice=True)
    page.wait_for_selector(".bench-card.here .bench-cautions[open]")
    page.clock.fast_forward("00:10")
    until(lambda: Entry.objects.filter(step="warm").count() == 2, 30)
    minutes = [entry.minutes_since_opening for entry in Entry.objects.filter(step="warm").order_by("pk")]
    assert minutes == [pytest.approx(5, abs=0.5), pytest.approx(7, abs=0.5)]


def test_a_late_insight(at_the_bench, live_server, chemist, cell):
    """Old cells read "not asked" until looked at; each answer names its photograph and a rectangle on it."""
    for number, code in enumerate(("SP-0601", "SP-0602", "SP-0603")):
        keep_photograph(
            ended(code, chemist).dissection, chemist, number, component="iron_electrode", place="B"
        )
    term = Term.objects.get(key="iron.film_green")
    page = at_the_bench()
    page.goto(f"{live_server.url}{reverse('look_back', args=[term.key])}")
    assert "4 cells read “not asked”" in page.locator(".sentence").inner_text()
    page.locator("figure.photograph a").first.click()
    for state in ("extent:some", "state:absent", "state:cannot tell"):
        page.select_option("#id_said", state)
        page.fill("#id_left", "0.25")
        page.fill("#id_bottom", "0.75")
        with page.expect_navigation():
            page.get_by_role("button", name="keep").click()
    assert "1 present, 1 absent, 1 cannot tell" in page.locator(".sentence").inner_text()
    assert "1 cell" in page.locator(".sentence").inner_text()
    late = Entry.objects.filter(term=term)
    assert {entry.state for entry in late} == {"present", "absent", "cannot tell"}
    assert all(entry.photo and entry.box == [0.25, 0, 1, 0.75] and entry.source == "photo" for entry in late)


def test_two_people_and_one_cell(at_the_bench, browser, live_server, cell, chemist):
    """An entry never collides; a form opened before somebody else's change is refused, with both in view."""
    analyst = makers.make_user("analyst", username="analyst")
    piece = bench.cut_sample(dissection=cell.dissection, component="iron_electrode", place="M2", by=chemist)
    (order,) = bench.send_orders(samples=[piece], technique="section", by=chemist)
    desk = at_the_bench(who=analyst)
    desk.goto(f"{live_server.url}{reverse('sample', args=[piece.code])}")
    tablet = at_the_bench(card="separator")
    say(tablet, "tear")
    send_now(tablet)
    bench.receive_order(order=order, by=chemist, note="back this morning")
    desk.locator('select[name="state"]').select_option("called off")
    with desk.expect_navigation():
        desk.get_by_role("button", name="note").click()
    told = desk.locator("main").inner_text()
    assert "changed" in told
    order.refresh_from_db()
    assert (order.state, order.note) == ("back", "back this morning")
    assert Entry.objects.current().get(term__key="separator.state").said == "tear"


def test_the_section_that_lied(at_the_bench, live_server, cell, chemist):
    """The form asks for the lubricant; water raises the flag; polished again it is a section of its own."""
    piece = bench.cut_sample(dissection=cell.dissection, component="iron_electrode", place="A.M2", by=chemist)
    bench.mount_samples(samples=[(piece, "across, air face up")], by=chemist, code="M-0077")
    page = at_the_bench()
    for lubricant, depth in (("water", ""), ("ethanol", "85")):
        page.goto(f"{live_server.url}{reverse('sample', args=[piece.code])}")
        page.get_by_text("Polish M-0077").click()
        page.fill("#id_abrasive", "silica")
        page.fill("#id_lubricant", lubricant)
        page.fill("#id_depth_removed_um", depth)
        with page.expect_navigation():
            page.get_by_role("button", name="a new section").click()
    first, second = Section.objects.order_by("pk")
    assert (first.artefacts, second.artefacts) == (["artefact.water"], [])
    assert (first.number, second.number, second.depth_removed_um) == (1, 2, 85)
    listed = page.locator("#mounts ~ ul, section:has(#mounts)").first.inner_text()
    assert "water" in listed
    assert "section 2" in listed
    assert "85 µm deeper" in listed


def test_signed_and_amended_later(at_the_bench, live_server, cell, chemist):
    """The signature shows name, time and meaning; what is amended afterwards is counted beside it."""
    evidence = keep_photograph(cell.dissection, chemist, 7, component="tab", caption="weld black")
    bench.open_cell(dissection=cell.dissection, by=chemist)
    seen = bench.log_entry(
        dissection=cell.dissection,
        term="separator.state",
        state="cannot tell",
        photo=evidence.key,
        by=chemist,
    )
    page = at_the_bench()
    page.goto(f"{live_server.url}{reverse('bench_close', args=['SP-0413'])}")
    page.fill("#id_answer", "the parts were not weighed")
    page.fill("#id_password", "a long enough one")
    page.get_by_role("button", name="close as complete").click()
    page.get_by_text(re.compile("Closed as complete by The bench")).wait_for()
    assert Signature.objects.get().meaning == "closed"
    bench.amend(entry=seen, reason="misread", state="absent", by=chemist)
    page.goto(f"{live_server.url}{reverse('bench_sheet', args=['SP-0413'])}")
    page.get_by_text("1 later than signed").wait_for()
    page.goto(f"{live_server.url}{reverse('photograph', args=[evidence.key])}")
    assert "What rests on it" in page.locator("main").inner_text()
    assert Sample.objects.count() == 0

"""The bench in a real browser: large targets, no scrolling, one touch one word."""

import re

import pytest
from django.urls import reverse
from playwright.sync_api import expect

from teardown.cells.models import Material
from teardown.dissection import actions as bench
from teardown.dissection.models import Entry
from tests import makers
from tests.dissection.makers import ended
from tests.journeys.gloves import GUARD_MS, kept_here, let_go, say, send_now, touch, type_number, until

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


MEASURE = """(target) => {
  const troubles = [], bench = document.querySelector('.bench'), gap = 23.5, size = target - 0.5;
  const seen = (e) => e.offsetParent !== null && !e.closest('.bench-caution-texts');
  const targets = (within) => [...within.querySelectorAll('.bench-button, .bench-row, summary')].filter(seen);
  const measure = (name, within, skip) => {
    const boxes = targets(within).filter((e) => !skip || !e.closest(skip))
      .map((e) => [e.getBoundingClientRect(), e.textContent.trim().slice(0, 30)]);
    for (const [box, words] of boxes) {
      const { width, height, top, bottom, left, right } = box;
      if (width < size || height < size) troubles.push(`${name} ${words} is ${width} x ${height}`);
      if (top < 0 || left < 0 || bottom > innerHeight || right > innerWidth)
        troubles.push(`${name} ${words} lies off the screen, ${left} ${top} ${right} ${bottom}`);
    }
    boxes.forEach(([a, one], at) => boxes.slice(at + 1).forEach(([b, other]) => {
      const apart = Math.max(a.left - b.right, b.left - a.right, a.top - b.bottom, b.top - a.bottom);
      if (apart < gap) troubles.push(`${name} ${one} and ${other} are ${apart} px apart`);
    }));
  };
  const fits = (name) => {
    const { scrollHeight, scrollWidth } = document.documentElement;
    if (scrollHeight > innerHeight || scrollWidth > innerWidth)
      troubles.push(`${name} scrolls, ${scrollWidth} x ${scrollHeight}`);
  };
  // A place is chosen on a grid, in a list of zones, or by a point on the drawing; of either face.
  const TOOLS = { grid: ['turn', 'zones', 'point', 'same'], zones: ['lattice'],
    point: ['turn', 'lattice', 'take'] };
  const ways = (ask, name) => {
    const hide = (selector, so) =>
      ask.querySelectorAll(selector).forEach((e) => { e.hidden = so(e.dataset); });
    for (const kind of Object.keys(TOOLS)) for (const face of 'AB') {
      hide('.bench-face', (e) => kind !== 'grid' || e.face !== face);
      hide('.bench-point', (e) => kind !== 'point' || e.face !== face);
      hide('.bench-zones', () => kind !== 'zones');
      hide('.turn [data-deed]', (e) => !TOOLS[kind].includes(e.deed));
      fits(`${name} ${kind} ${face}`);
      measure(`${name} ${kind} ${face}`, bench, 'dialog');
    }
  };
  for (const card of bench.querySelectorAll('.bench-card')) {
    bench.querySelectorAll('.bench-card').forEach((c) => c.classList.toggle('here', c === card));
    for (const ask of card.querySelectorAll('.bench-ask')) {
      const { term } = ask.dataset, name = `${card.dataset.card}/${term}:`;
      card.querySelectorAll('.bench-ask').forEach((a) => a.classList.toggle('open', a === ask));
      card.querySelectorAll('.bench-row').forEach((r) => r.classList.toggle('open', r.dataset.row === term));
      fits(name);
      measure(name, bench, 'dialog');
      if (ask.dataset.kind === 'place') ways(ask, name);
    }
  }
  for (const dialog of bench.querySelectorAll('dialog')) {
    dialog.showModal();
    measure(`dialog ${dialog.dataset.dialog}:`, dialog);
    dialog.close();
  }
  return [bench.querySelectorAll('.bench-card').length, targets(bench).length, troubles];
}"""
MODULE = "(name) => import(document.querySelector('script[src*=bench]').src.replace('bench.js', name))"


@pytest.fixture
def acid_may_be_asked_for(chemist):
    """Give a cell without sulfide, with vials and instruments: it asks for the most there is to ask."""
    revision = makers.make_revision(additive="bismuth oxide")
    Material.objects.filter(name="bismuth oxide").update(constituents=["Bi"])
    made = ended("SP-0500", chemist, revision)
    for _ in range(11):
        bench.cut_sample(dissection=made.dissection, component="electrolyte", purpose="titration", by=chemist)
    for number, quantity in enumerate(("mass", "volume", "potential", "temperature", "length")):
        bench.add_instrument(
            code=f"B-{number}",
            name="long-named instrument",
            quantity=quantity,
            unit="g",
            by=makers.make_user("lead"),
        )
    return made


@pytest.mark.parametrize("size", [(1280, 800), (800, 1280)])
@pytest.mark.parametrize(
    "px_per_mm",
    [
        pytest.param(None, id="no ruler yet"),
        pytest.param(5.9, id="a tablet of eleven inches", marks=pytest.mark.long),
        pytest.param(128 / 19, id="a tablet of finer dots", marks=pytest.mark.long),
    ],
)
def test_every_target_is_large_and_apart_and_every_card_fits(
    at_the_bench, acid_may_be_asked_for, size, px_per_mm
):
    """19 mm by the ruler, 100 px before it was laid on; 24 px between any two; nothing needs scrolling."""
    page = at_the_bench(*size, code="SP-0500")
    if px_per_mm:
        page.evaluate("(scale) => localStorage.setItem('bench-px-per-mm', scale)", px_per_mm)
        page.reload()
        page.wait_for_selector(".scripted .bench-card.here")
    cards, targets, troubles = page.evaluate(MEASURE, 19 * px_per_mm if px_per_mm else 100)
    assert troubles == []
    assert cards > 24
    assert targets > 5
    assert page.troubles == []


def test_a_first_cell_reaches_opened_and_the_sheet_shows_it(at_the_bench, live_server, cell):
    page = at_the_bench(card="weighing")
    type_number(page, "41.18")
    page.wait_for_timeout(GUARD_MS)
    page.locator('[data-deed="twice"]').click()  # masses are read back
    kept_here(page, 1)
    page.wait_for_timeout(GUARD_MS)
    page.locator('[data-deed="next"]').click()
    type_number(page, "0.914")
    kept_here(page, 2)
    page.goto(page.url.split("?")[0] + "?card=opening")
    say(page, "Opened now")
    kept_here(page, 3)
    say(page, "unscrewed")
    send_now(page)
    expect(page.locator('[data-part="opened"]')).to_have_text(re.compile(r"^opened \d min"))
    values = {entry.term.key: entry.said for entry in Entry.objects.current().with_words()}
    assert values["mass.received_g"] == "41.18 g"
    assert values["electrical.rest_V"] == "0.914 V"
    assert values["opening.method"] == "unscrewed"
    assert cell.dissection.opened() is not None
    page.goto(f"{live_server.url}{reverse('bench_sheet', args=['SP-0413'])}")
    assert page.get_by_text("41.18 g").count() == 1
    assert page.troubles == []


def test_impossible_unusual_and_double_touches(at_the_bench):
    page = at_the_bench(card="electrical")
    type_number(page, "9")
    assert "cannot be" in page.locator('[data-part="said"]').inner_text()
    page.locator('.bench-card.here .bench-ask.open [data-key="clear"]').click()
    type_number(page, "1.6")
    page.wait_for_selector('[data-dialog="unusual"][open]')
    assert page.locator('[data-part="unusual"]').inner_text() == "1.6 V"
    expect(page.locator('[data-part="unusual-why"]')).to_have_text(re.compile(r"^Usual here: .* V\.$"))
    page.wait_for_timeout(GUARD_MS)
    page.locator('[data-deed="twice"]').click()
    kept_here(page, 1)
    open_button = page.locator(".bench-card.here .bench-ask.open").get_by_role(
        "button", name="open", exact=True
    )
    page.wait_for_timeout(GUARD_MS)
    open_button.dblclick()  # a drop of water
    kept_here(page, 2)
    page.wait_for_timeout(300)
    assert page.locator('[data-part="here"]').inner_text() == "2 kept here"
    touch(page, '[data-deed="more"]')
    touch(page, '[data-dialog="more"] [data-deed="tray"]')
    expect(page.locator('[data-part="tray"] li')).to_have_text(
        ["SP-0413: rest voltage, after a minute: 1.6 V", "SP-0413: air inlet: open"]
    )


@pytest.mark.long
def test_undo_takes_back_what_was_not_sent_and_withdraws_what_was(at_the_bench, live_server):
    page = at_the_bench(card="arrival")
    say(page, "label and mark agree")
    kept_here(page, 1)
    page.wait_for_timeout(GUARD_MS)
    page.locator('[data-deed="undo"]').click()
    kept_here(page, 0)
    say(page, "label and mark differ")
    kept_here(page, 1)
    send_now(page)
    page.locator('[data-deed="undo"]').click()
    until(lambda: Entry.objects.count() == 2)
    assert [entry.state for entry in Entry.objects.order_by("pk")] == ["present", "withdrawn"]


@pytest.mark.long
def test_all_places_the_same_is_eighteen_entries_and_the_next_place_follows(at_the_bench):
    page = at_the_bench(800, 1280, card="iron")
    page.wait_for_timeout(GUARD_MS)
    page.locator('.bench-card.here [data-address="A.T1"]').click()
    say(page, "green film")
    kept_here(page, 1)
    page.wait_for_timeout(GUARD_MS)
    page.locator('[data-deed="next"]').click()
    assert "A.T2" in page.locator('[data-part="where"]').inner_text()
    page.wait_for_timeout(GUARD_MS)
    page.locator('.bench-card.here [data-row="place"]').click()
    page.wait_for_timeout(GUARD_MS)
    page.locator('.bench-card.here [data-deed="same"]').click()
    page.wait_for_timeout(GUARD_MS)
    page.locator('.bench-card.here .bench-row[data-row="iron.texture"]').click()
    say(page, "hard plate")
    send_now(page)
    assert Entry.objects.current().filter(uniform=True).count() == 18
    assert Entry.objects.get(term__key="iron.colour").place == "A.T1"
    assert page.troubles == []


@pytest.mark.long
def test_samples_beyond_nine_come_up_nine_at_a_time(at_the_bench, acid_may_be_asked_for):
    page = at_the_bench(code="SP-0500", card="titration")
    vials = page.locator(".bench-card.here [data-sample]")
    assert (vials.count(), vials.filter(visible=True).count()) == (11, 9)
    touch(page, '.bench-card.here [data-deed="others"]')
    expect(vials.filter(visible=True)).to_have_count(2)
    last = vials.filter(visible=True).last.get_attribute("data-sample")
    touch(page, f'.bench-card.here [data-sample="{last}"]')
    assert page.locator('.bench-card.here [data-part="sample"]').inner_text() == last
    touch(page, '.bench-card.here [data-row="sample"]')
    touch(page, '.bench-card.here [data-deed="others"]')
    expect(vials.filter(visible=True)).to_have_count(9)


@pytest.mark.long
def test_what_asks_more_than_fits_goes_on_on_a_card_of_its_own(at_the_bench, cell):
    """The step stays one, on however many cards it lies."""
    page = at_the_bench(card="electrical")
    asks = page.locator(".bench-card.here .bench-ask[data-term]:not([data-kind=instrument])")
    first = asks.count()
    assert "1 of 2" in page.locator('[data-part="where"]').inner_text()
    touch(page, '[data-deed="next"]')
    expect(page.locator('[data-part="where"]')).to_contain_text("2 of 2")
    assert (first, asks.count()) == (4, 3)
    say(page, "discharged")
    send_now(page)
    until(lambda: Entry.objects.filter(term__key="electrical.state", step="electrical").count() == 1)


@pytest.mark.long
def test_face_b_is_drawn_mirrored(at_the_bench):
    page = at_the_bench(card="iron")
    page.wait_for_timeout(GUARD_MS)
    page.locator('.bench-card.here [data-deed="turn"]').click()
    shown = page.locator('.bench-card.here .bench-face[data-face="B"] [data-address]').evaluate_all(
        "places => places.slice(0, 3).map((place) => place.dataset.address)"
    )
    assert shown == ["B.T3", "B.T2", "B.T1"]


@pytest.mark.long
def test_the_tray_of_another_cell_is_noticed_and_its_entries_move(at_the_bench, cell, chemist):
    ended("SP-0424", chemist)
    page = at_the_bench(card="separator")
    say(page, "tear")
    kept_here(page, 1)
    page.evaluate("localStorage.setItem('bench-last-touch', Date.now() - 700000)")
    page.wait_for_timeout(GUARD_MS)
    page.locator('[data-deed="next"]').click()
    page.wait_for_selector('[data-dialog="scan"][open]')
    page.fill("#bench-scan", "0424")
    page.wait_for_timeout(GUARD_MS)
    page.locator('[data-dialog="scan"] form button').click()
    expect(page.locator('[data-part="scan-said"]')).to_have_text("This is 0424, you were on 0413")
    let_go(page)
    page.wait_for_timeout(GUARD_MS)
    page.locator('[data-deed="move"]').click()
    page.wait_for_url("**/SP-0424/**")
    moved = Entry.objects.current().filter(term__key="separator.state")
    until(moved.exists)
    entry = moved.get()
    assert entry.dissection.cell.code == "SP-0424"


@pytest.mark.long
def test_a_refused_item_goes_to_the_tray_and_blocks_no_other(at_the_bench):
    page = at_the_bench(card="arrival")
    page.evaluate(f"""async () => {{
        const {{ Queue, newKey }} = await ({MODULE})('bench-queue.js');
        const said = {{ term: 'iron.colour', answer: 'pink', place: 'A.M2' }};
        const item = {{ key: newKey(), kind: 'entry', cell: 'SP-0413', said, words: 'pink' }};
        await new Queue({{ changed() {{}} }}).add(item, 0); }}""")
    say(page, "label and mark agree")
    kept_here(page, 2)
    let_go(page)
    page.wait_for_timeout(GUARD_MS)
    page.locator('[data-deed="more"]').click()
    page.wait_for_timeout(GUARD_MS)
    page.locator('[data-dialog="more"] [data-deed="tray"]').click()
    page.wait_for_timeout(GUARD_MS)
    page.locator('[data-dialog="tray"] [data-deed="send"]').click()
    page.wait_for_selector("text=is no answer to")
    until(lambda: Entry.objects.count() == 1)


@pytest.mark.long
def test_any_warming_shows_the_self_heating_card_and_blocks_nothing(at_the_bench):
    page = at_the_bench(card="warm")
    say(page, "warm")
    page.wait_for_selector(".bench-card.here .bench-cautions[open]")
    card = page.locator(".bench-card.here .bench-cautions[open]")
    assert card.get_by_role("heading", name="Reduced iron can heat itself in air").is_visible()
    page.wait_for_timeout(GUARD_MS)
    page.locator(".bench-card.here .bench-cautions[open] form button").click()
    page.wait_for_selector(".bench-card.here .bench-cautions:not([open])")
    kept_here(page, 1)


@pytest.mark.long
def test_the_plain_digest_is_the_published_one(at_the_bench):
    """FIPS 180-4: the one-block and the two-block example, and the empty message."""
    page = at_the_bench()
    found = page.evaluate(f"""async () => {{
        const {{ plainDigest }} = await ({MODULE})('bench-digest.js');
        const two = 'abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq';
        return ['abc', two, ''].map((text) => plainDigest(new TextEncoder().encode(text))); }}""")
    assert found == [
        "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad",
        "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1",
        "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
    ]

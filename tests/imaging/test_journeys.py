"""Two ways of mending what grey levels got wrong, in a real browser: thresholds by hand, and strokes."""

import re

import pytest
from django.urls import reverse

from teardown.files.tasks import work_off
from teardown.imaging.actions import add_micrograph
from teardown.imaging.models import Classifier, ImagingSession, Region, Review, StrokeSet
from teardown.imaging.runs import standing
from tests import eyes
from tests.imaging.pictures import section_file
from tests.makers import make_user

pytestmark = [pytest.mark.browser, pytest.mark.long, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def operator():
    """Someone who may do everything with micrographs."""
    return make_user("operator", username="operator")


@pytest.fixture
def field(operator):
    """A measured field of a session."""
    session = ImagingSession.objects.create(name="Friday")
    made = add_micrograph(picture=section_file(1), name="a.png", by=operator, session=session)
    work_off()
    return made


def test_thresholds_are_tried_on_a_crop_measured_with_compared_and_accepted(visit, operator, field):
    """By keys alone: the slider moves, the crop answers, a reason is given, the new run is accepted."""
    from playwright.sync_api import expect

    page = visit(reverse("micrograph_levels", args=[field.pk]), operator)
    state = page.locator("[data-state]")
    expect(state).to_have_text(re.compile("of the crop change class"))
    assert eyes.faults(page) == []
    tried = page.locator('[data-row="1"] [data-cell="difference"]')
    before = tried.inner_text()
    page.locator("[data-slider=upper]").focus()
    for _ in range(25):
        page.keyboard.press("ArrowRight")
    expect(tried).not_to_have_text(before)
    page.locator("[data-map]").focus()
    page.keyboard.press("Enter")
    expect(page.locator(".tried-classes")).to_be_visible()
    page.locator("[name=reason]").fill("rims are darker than the level found")
    page.get_by_role("button", name="Measure with these levels").click()
    expect(page.get_by_text("The picture is being measured")).to_be_visible()
    work_off()
    expect(page.locator(".by-hand")).to_contain_text("rims are darker than the level found", timeout=60_000)
    page.get_by_role("button", name="Accept", exact=True).click()
    expect(page.get_by_text("accepted by")).to_be_visible()
    assert Review.objects.get().verdict == "accept"
    assert standing([field])[field.pk].levels["source"] == "manual"
    page.get_by_role("link", name="Compare two of them").click()
    expect(page.get_by_role("heading", name="What changed class")).to_be_visible()
    expect(page.locator(".leaflet-tile-loaded").first).to_be_visible()
    assert eyes.faults(page) == []
    assert visit.complaints == []


def draw(page, name, start, end):
    """Draw a stroke of a class from one place of the map to another."""
    page.locator(f'[data-class="{name}"]').click()
    box = page.locator("[data-map]").bounding_box()
    page.mouse.move(box["x"] + start[0], box["y"] + start[1])
    page.mouse.down()
    page.mouse.move(box["x"] + end[0], box["y"] + end[1], steps=6)
    page.mouse.up()


def test_strokes_are_drawn_learned_from_and_measured_with(visit, operator, field):
    """By mouse and by keys; taken back once; the accuracy is shown and the result is marked as trained."""
    from playwright.sync_api import expect

    page = visit(reverse("micrograph_strokes", args=[field.pk]), operator)
    expect(page.locator(".leaflet-tile-loaded").first).to_be_visible()
    assert eyes.faults(page) == []
    page.locator("[data-draw]").click()
    box = page.locator("[data-map]").bounding_box()
    middle, height = box["width"] / 2, box["height"]
    for number, name in enumerate(("pore", "metal", "oxide")):
        draw(
            page,
            name,
            (middle - 120, height * (0.25 + 0.2 * number)),
            (middle + 120, height * (0.3 + 0.2 * number)),
        )
    expect(page.locator("[data-state]")).to_have_text(re.compile("^3 strokes"))
    page.locator("[data-undo]").click()
    expect(page.locator("[data-state]")).to_have_text(re.compile("^2 strokes"))
    page.locator("[data-map]").focus()
    page.keyboard.press("2")
    page.keyboard.press("Enter")
    for _ in range(3):
        page.keyboard.press("ArrowRight")
        page.keyboard.press("Enter")
    page.locator("[data-stroke-width]").focus()
    draw(page, "oxide", (middle - 100, height * 0.8), (middle + 60, height * 0.85))
    page.get_by_role("button", name="Keep these strokes").click()
    expect(page.get_by_text("Version 1 of the strokes is kept")).to_be_visible()
    assert {stroke["class"] for stroke in StrokeSet.objects.get().strokes} == {"pore", "oxide", "metal"}
    page.get_by_role("button", name="Learn from the kept strokes").click()
    expect(page.get_by_text("Classes are being learned")).to_be_visible()
    work_off()
    expect(page.get_by_text("called rightly by trees that never saw them")).to_be_visible(timeout=60_000)
    assert Classifier.objects.get().session == field.session
    assert eyes.faults(page) == []
    page.locator("#by-strokes-reason").fill("oxide and metal are of one grey")
    page.get_by_role("button", name="Measure with it").click()
    expect(page.get_by_text("The picture is being measured")).to_be_visible()
    work_off()
    expect(page.locator(".by-hand")).to_contain_text("oxide and metal are of one grey", timeout=60_000)
    assert standing([field])[field.pk].levels["source"] == "trained"
    assert visit.complaints == []


def at(page, x, y):
    """Where a place of the picture stands in the window."""
    told = page.evaluate(
        "([x, y]) => { const v = document.querySelector('[data-viewer]').viewer;"
        " const p = v.map.latLngToContainerPoint(v.at(x, y)); return [p.x, p.y]; }",
        [x, y],
    )
    box = page.locator("[data-map]").bounding_box()
    return box["x"] + told[0], box["y"] + told[1]


def test_outlines_are_drawn_dragged_stepped_taken_back_and_changed(visit, operator, field):
    """By mouse a corner is dragged and one between two is made, by keys one is stepped and taken away."""
    from playwright.sync_api import expect

    page = visit(reverse("micrograph", args=[field.pk]), operator)
    page.locator("[data-draw] > summary").click()
    page.locator("[data-kind]").select_option("exclusion")
    page.locator("[data-begin]").click()
    for place in ((40, 40), (120, 40), (120, 110)):
        page.mouse.click(*at(page, *place))
    told = page.locator("[data-told]")
    expect(told).to_have_text(re.compile("^3 corners"))
    page.mouse.move(*at(page, 120, 110))
    page.mouse.down()
    page.mouse.move(*at(page, 160, 150), steps=5)
    page.mouse.up()
    page.mouse.move(*at(page, 80, 40))
    page.mouse.down()
    page.mouse.move(*at(page, 80, 20), steps=5)
    page.mouse.up()
    expect(told).to_have_text(re.compile("^4 corners"))
    page.locator("[data-undo]").click()
    expect(told).to_have_text(re.compile("^3 corners"))
    page.get_by_role("button", name=re.compile("^Corner 1 of 3")).focus()
    page.keyboard.press("Shift+ArrowRight")
    assert eyes.faults(page) == []
    page.get_by_role("button", name="Keep, and draw more").click()
    expect(page.get_by_text("Kept. Draw on")).to_be_visible()
    drawn = Region.objects.get()
    assert drawn.name == "1"
    assert drawn.points[0][0] > 40.5
    assert drawn.points[2] == pytest.approx([160, 150], abs=2)
    page.locator("[data-draw] > summary").click()
    page.get_by_role("button", name="change").click()
    page.get_by_role("button", name=re.compile("^Corner 2 of 3")).focus()
    page.keyboard.press("ArrowDown")
    page.get_by_role("button", name="Keep and measure").click()
    expect(page.get_by_text("measured again with it")).to_be_visible()
    assert Region.objects.latest("pk").version == 2
    work_off()
    assert visit.complaints == []


def test_a_finger_sets_the_scale_bar_and_lengths_follow_at_once(visit, operator, field):
    """Two touches, a length, and the next page shows micrometres with no worker about."""
    from playwright.sync_api import expect

    page = visit(reverse("micrograph", args=[field.pk]), operator, size="tablet")
    page.locator("[data-bar-panel] > summary").tap()
    page.locator("[data-measure-bar]").tap()
    for place in ((60, 200), (160, 200)):
        page.locator("[data-map]").scroll_into_view_if_needed()
        page.touchscreen.tap(*at(page, *place))
    bar = page.locator("[data-bar-form]")
    length = float(bar.locator("[name=bar_px]").input_value())
    assert length == pytest.approx(100, abs=3)
    bar.locator("[name=bar_um]").fill("20")
    expect(bar.locator("[data-bar-told]")).to_have_text(re.compile("A pixel would be 0[.,](19|20)"))
    assert eyes.faults(page) == []
    bar.get_by_role("button", name="Take this scale").tap()
    expect(page.get_by_text("µm; lengths follow")).to_be_visible()
    expect(page.locator("#measured")).to_contain_text("µm")
    assert standing([field])[field.pk].run.function == "imaging.rescale"
    assert visit.complaints == []


def test_more_files_than_one_request_takes_are_sent_in_parts(visit, operator, tmp_path):
    """A text goes with its picture; the plan lists all; should the sending stop, it goes on where it was."""
    from playwright.sync_api import expect

    for seed in range(1, 6):
        (tmp_path / f"{seed}.png").write_bytes(section_file(seed, size=96))
    (tmp_path / "4.txt").write_text("PixelSize = 50 nm")
    page = visit(reverse("add_micrographs"), operator)
    assert eyes.faults(page) == []
    page.evaluate("document.querySelector('[data-bring]').dataset.most = 2")
    page.locator("#id_pictures").set_input_files(sorted(tmp_path.iterdir()))
    answers = iter([True, False, True, True, True])
    page.route(
        "**/micrographs/add/",
        lambda route: route.continue_() if route.request.method != "POST" or next(answers) else route.abort(),
    )
    page.get_by_role("button", name="Keep them").click()
    expect(page.locator("[data-told]")).to_contain_text("stopped after 2 of 6 files")
    expect(page.get_by_role("link", name="See the plan of what was sent")).to_be_visible()
    page.get_by_role("button", name="Send the rest").click()
    expect(page.get_by_role("heading", name="Pictures to be tied")).to_be_visible()
    names = page.locator("tbody th").all_inner_texts()
    assert names == ["1.png", "2.png", "3.png", "4.png", "5.png"]
    expect(page.locator("tbody tr").nth(3)).to_contain_text("µm")


def test_the_proposed_ends_of_a_scale_bar_are_corrected_and_its_length_typed(visit, operator):
    """They stand on the picture when the panel opens; moved by a key; only the person says how long it is."""
    from playwright.sync_api import expect

    file = section_file(1, size=256, strip=32, bar=100)
    one = add_micrograph(picture=file, name="a.png", by=operator)
    work_off()
    page = visit(reverse("micrograph", args=[one.pk]), operator)
    page.get_by_text("Measure a scale bar").click()
    told = page.locator("[data-bar-told]")
    expect(told).to_contain_text("The bar is 98 px long")
    expect(told).to_contain_text("from the middle of one tick")
    length = page.locator("[data-bar-form] [name=bar_um]")
    expect(length).to_have_value("")
    page.get_by_label("Second end of the scale bar").focus()
    page.keyboard.press("Shift+ArrowRight")
    expect(told).not_to_contain_text("Proposed")
    page.keyboard.press("Shift+ArrowLeft")
    expect(told).to_contain_text("The bar is 98 px long")
    length.fill("9.8")
    expect(told).to_contain_text("A pixel would be 0.1 µm")
    assert eyes.faults(page) == []
    page.locator("[data-bar-form]").get_by_role("button", name="Take this scale").click()
    expect(page.get_by_text("A pixel is 0.1 µm")).to_be_visible()

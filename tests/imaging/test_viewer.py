"""The picture in a real browser: classes over it, and outlines drawn without a mouse."""

import pytest
from django.urls import reverse

from teardown.files.tasks import work_off
from teardown.imaging.actions import add_micrograph
from teardown.imaging.models import Count, Region
from tests import eyes
from tests.imaging.pictures import section_file
from tests.makers import make_user

MIDDLE = "document.querySelector('[data-viewer]').viewer.map.getCenter().toString()"
pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def opened(browser, live_server):
    """A page of an operator, with the troubles it met."""
    context = browser.new_context(viewport={"width": 1280, "height": 900})
    operator = make_user("operator", username="operator")
    context.add_cookies([{"name": "sessionid", "value": eyes.session_of(operator), "url": live_server.url}])
    page = context.new_page()
    page.troubles = []
    page.on("pageerror", lambda error: page.troubles.append(str(error)))
    page.on("console", lambda said: page.troubles.append(said.text) if said.type == "error" else None)
    micrograph = add_micrograph(picture=section_file(1), name="a.png", by=operator)
    work_off()
    yield page, micrograph, live_server.url
    context.close()


def test_an_outline_is_drawn_with_the_keys_alone_and_a_count_is_kept(opened):
    """Arrow keys move the picture under the cross, Enter sets a corner; a count goes by digits."""
    page, micrograph, url = opened
    page.goto(url + reverse("micrograph", args=[micrograph.pk]))
    page.wait_for_selector(".leaflet-tile-loaded")
    assert eyes.faults(page) == []
    page.keyboard.press("b")
    page.locator("[data-draw] > summary").click()
    page.locator("[data-begin]").click()
    for key in ("ArrowRight", "ArrowDown", "ArrowLeft"):
        page.keyboard.press("Enter")
        before = page.evaluate(MIDDLE)
        page.keyboard.press(key)
        page.wait_for_function(f"before => {MIDDLE} !== before", arg=before)
        page.wait_for_timeout(400)  # the picture glides to its place
    assert page.locator("[data-told]").inner_text().startswith("3 corners")
    page.locator("button.strong[data-keep]").click()
    page.wait_for_selector("text=measured again with it")
    region = Region.objects.get()
    assert len(region.points) == 3
    assert len({tuple(point) for point in region.points}) == 3
    page.goto(url + reverse("micrograph_count", args=[micrograph.pk, "points"]))
    page.wait_for_selector(".leaflet-tile-loaded")
    for digit in "1231231231":
        page.keyboard.press(digit)
    assert page.locator("[data-told]").inner_text().startswith("11 of")
    page.locator("[data-keep]").click()
    page.wait_for_selector("text=The count is kept")
    assert len(Count.objects.get().answers) == 10
    assert page.troubles == []

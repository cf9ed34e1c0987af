"""Two results of one picture: what changed is counted pixel by pixel and shown tile by tile."""

import io

import numpy as np
import pytest
from django.urls import reverse
from PIL import Image

from teardown.files.tasks import work_off
from teardown.imaging.actions import add_micrograph, measure_with_thresholds
from teardown.imaging.dossier import comparison_of
from teardown.imaging.dossier.crops import thresholds_of
from teardown.imaging.runs import standing
from teardown.imaging.store import classes_at
from tests.imaging.pictures import section_file
from tests.makers import make_user

pytestmark = pytest.mark.django_db


@pytest.fixture
def operator():
    """Someone who may do everything with micrographs."""
    return make_user("operator")


@pytest.fixture
def twice(operator):
    """A field measured twice: as found, and with a threshold by hand."""
    made = add_micrograph(picture=section_file(5, size=144), name="1.png", by=operator)
    work_off()
    lower, upper = thresholds_of(standing([made])[made.pk].levels)
    measure_with_thresholds(micrograph=made, lower=lower + 0.04, upper=upper, reason="try", by=operator)
    work_off()
    return made


def test_every_changed_pixel_is_counted_once(twice):
    """The counts are those of the two class maps, laid over each other here."""
    page = comparison_of(twice)
    places = [(x, y) for y in range(144) for x in range(144)]
    one, other = (np.array(classes_at(result, places)) for result in (page.before, page.after))
    assert page.changed == int((one != other).sum()) > 0
    assert page.area == 144 * 144
    turned = comparison_of(twice, page.after.run_id, page.before.run_id)
    assert turned.changed == page.changed
    assert {(c.after, c.before, c.pixels) for c in turned.changes} == {
        (c.before, c.after, c.pixels) for c in page.changes
    }
    assert next(row for row in page.rows if row.words == "porosity").difference > 0


def test_tiles_show_what_changed_and_nothing_else(client, operator, twice):
    """As many opaque pixels as were counted."""
    client.force_login(operator)
    page = comparison_of(twice)
    address = reverse(
        "micrograph_change_tile", args=[twice.pk, page.before.run_id, page.after.run_id, 0, 0, 0]
    )
    with Image.open(io.BytesIO(client.get(address).content)) as tile:
        assert int((np.asarray(tile)[:, :, 3] > 0).sum()) == page.changed
    outside = reverse(
        "micrograph_change_tile", args=[twice.pk, page.before.run_id, page.after.run_id, 0, 7, 0]
    )
    assert client.get(outside).status_code == 404


def test_the_page_compares_what_its_address_asks_for(client, operator, twice, django_assert_max_num_queries):
    """Two runs by number; nonsense falls back to the standing one and the latest other."""
    client.force_login(operator)
    address = reverse("micrograph_compare", args=[twice.pk])
    client.get(address)
    with django_assert_max_num_queries(24):
        answer = client.get(address, {"before": "nonsense", "after": "99999999999999999999"})
    assert answer.status_code == 200
    assert b"of the section changed class" in answer.content
    assert b"set by hand" in answer.content


def test_one_result_has_nothing_to_be_compared_with(client, operator):
    """Said in words."""
    one = add_micrograph(picture=section_file(6, size=128), name="1.png", by=operator)
    work_off()
    client.force_login(operator)
    assert b"not two results" in client.get(reverse("micrograph_compare", args=[one.pk])).content

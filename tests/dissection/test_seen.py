"""The pages of the bench as they are seen: accessible, no wider than their window, without a complaint."""

import pytest
from django.urls import reverse

from teardown.dissection import actions as bench
from tests import eyes, makers
from tests.dissection.makers import PNG, ended

# Each of these pages is seen once in the walk over every page; this is the closer look.
pytestmark = [pytest.mark.browser, pytest.mark.long, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def pages(transactional_db):
    chemist = makers.make_user("bench", username="chemist")
    cell = ended("SP-0413", chemist)
    dissection = cell.dissection
    bench.open_cell(dissection=dissection, by=chemist)
    entry = bench.log_entry(
        dissection=dissection, term="iron.colour", answer="green", place="A.M2", by=chemist
    )
    photograph = bench.add_photograph(file=PNG, dissection=dissection, by=chemist)
    piece = bench.cut_sample(dissection=dissection, component="iron_electrode", place="M2", by=chemist)
    mount = bench.mount_samples(samples=[(piece, "across, air face up")], by=chemist)
    bench.polish(mount=mount, by=chemist, stages=[{"abrasive": "silica", "lubricant": "water"}])
    bench.send_orders(samples=[piece], technique="diffraction", by=chemist)
    names = [
        ("bench", []), ("bench_cell", ["SP-0413"]), ("bench_sheet", ["SP-0413"]), ("bench_plan", ["SP-0413"]),
        ("bench_close", ["SP-0413"]), ("samples", []), ("sample", [piece.code]), ("sample_cut", ["SP-0413"]),
        ("labels", []), ("photographs", []), ("photograph", [photograph.key]), ("cautions", []),
        ("entry", [entry.key]), ("look_back", ["iron.film_green"]),
    ]  # fmt: skip
    return chemist, [reverse(name, args=args) for name, args in names]


def test_every_page_is_accessible_and_fits_a_tablet(visit, pages):
    chemist, addresses = pages
    found = {address: eyes.faults(visit(address, chemist, size="tablet")) for address in addresses}
    assert {address: faults for address, faults in found.items() if faults} == {}
    assert visit.complaints == []

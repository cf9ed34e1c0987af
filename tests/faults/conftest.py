"""A laboratory at work, to be hurt."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.lab import Lab

FOUND = """
from django.utils import timezone
from teardown.accounts.actions import welcome
from teardown.dissection import actions as bench
from tests.makers import make_cell, make_revision, make_test
people = {}
for role in ("bench", "analyst", "lead"):
    people[role] = welcome(username=role, name=role, password="a long password", roles=[role], by=None)
for number in (1, 2):
    cell = make_cell(f"SP-000{number}")
    make_test(cell, end="capacity_limit")
    dissection = bench.start_dissection(cell=cell, by=people["bench"])
    bench.open_cell(dissection=dissection, by=people["bench"])
make_revision("R1")
"""


@pytest.fixture(scope="session")
def template(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A data folder with people, a recipe, and two cells that lie open at the bench."""
    lab = Lab(tmp_path_factory.mktemp("faults") / "template")
    lab.manage("migrate", "-v0")
    # makers date by a fixed day to come; here the day is today
    lab.python(
        f"import tests.makers as m; from django.utils import timezone; m.NOW = timezone.now()\n{FOUND}"
    )
    return lab.data


@pytest.fixture
def lab(template: Path, tmp_path: Path) -> Iterator[Lab]:
    """A copy of it, served, for a test that kills."""
    yield from _served(Lab(tmp_path / "lab", template=template))


@pytest.fixture(scope="module")
def busy(template: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Lab]:
    """A copy of it, served, for tests that only crowd it."""
    yield from _served(Lab(tmp_path_factory.mktemp("busy") / "lab", template=template))


def _served(lab: Lab) -> Iterator[Lab]:
    lab.serve()
    yield lab
    lab.stop()
    assert lab.processes("granian") == lab.processes("db_worker") == [], "something outlived its supervisor"

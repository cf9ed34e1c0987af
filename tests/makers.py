"""Plain functions that make what a test needs, through the same deeds as people."""

import datetime as dt
import itertools
from typing import Any

from django.utils import timezone

from teardown.accounts.actions import welcome
from teardown.accounts.models import User
from teardown.cells.models import (
    Build,
    Cell,
    Chamber,
    Channel,
    Material,
    Position,
    Protocol,
    ProtocolRevision,
    Recipe,
    RecipePart,
    RecipeRevision,
    Seat,
    Test,
)
from teardown.vocabulary.models import Term

NOW = dt.datetime(2031, 3, 4, 14, 0, tzinfo=dt.UTC)
_numbers = itertools.count(5001)  # beyond every code that a test names itself


def make_user(*roles: str, username: str = "", password: str | None = None) -> User:
    """Make a person with these roles."""
    username = username or f"person{next(_numbers)}"
    return welcome(
        username=username,
        name=f"The {' and '.join(roles) or 'nobody'}",
        password=password,
        roles=roles,
        by=None,
    )


def make_revision(
    code: str = "",
    *,
    iron: str = "carbonyl iron",
    additive: str = "bismuth sulfide",
    share: float = 0.04,
    koh: float = 6.0,
) -> RecipeRevision:
    """Make a recipe with one revision: iron, an additive, potassium hydroxide, an air electrode."""
    code = code or f"FeBi-{next(_numbers)}"
    recipe, _ = Recipe.objects.get_or_create(code=code, defaults={"title": f"{iron} with {additive}"})
    revision = RecipeRevision.objects.create(recipe=recipe, number=recipe.revisions.count() + 1)
    rows = [
        ("iron", iron, ["Fe"], 1.2, "g", "cell"),
        ("additive", additive, ["Bi", "S"], share, "1", "iron"),
        ("alkali", "potassium hydroxide", ["K"], koh, "mol/L", "electrolyte"),
        ("air electrode", "nickel mesh air electrode", ["Ni"], 1, "piece", "cell"),
    ]
    for role, name, constituents, amount, unit, basis in rows:
        material, _ = Material.objects.get_or_create(
            name=name, defaults={"kind": role, "constituents": constituents}
        )
        RecipePart.objects.create(
            revision=revision, role=role, material=material, amount=amount, unit=unit, basis=basis
        )
    return revision


def make_build(revision: RecipeRevision | None = None, code: str = "") -> Build:
    """Make a build; its recipe is frozen by it."""
    revision = revision or make_revision()
    build = Build.objects.create(
        revision=revision, code=code or f"B{next(_numbers)}", built_on=NOW.date() - dt.timedelta(days=200)
    )
    RecipeRevision.objects.filter(pk=revision.pk, frozen_at=None).update(frozen_at=timezone.now())
    return build


def make_cell(code: str = "", *, build: Build | None = None, **as_built: Any) -> Cell:
    """Make a cell as built."""
    facts = {
        "iron_mass_g": 1.188,
        "build_mass_g": 41.62,
        "electrode_width_mm": 20,
        "electrode_height_mm": 30,
        "electrode_thickness_um": 800,
    }
    return Cell.objects.create(
        code=code or f"SP-{next(_numbers):04}", build=build or make_build(), **(facts | as_built)
    )


def make_test(
    cell: Cell | None = None,
    *,
    end: str | None = None,
    temperature_C: float = 35,
    chamber: str = "C3",
    days: int = 120,
) -> Test:
    """Make a test; ended for the reason ``end.<key>`` if one is given."""
    cell = cell or make_cell()
    protocol, _ = Protocol.objects.get_or_create(code="slow", defaults={"title": "slow discharge"})
    revision, _ = ProtocolRevision.objects.get_or_create(
        protocol=protocol, number=1, defaults={"capacity_limit": 0.6}
    )
    started = NOW - dt.timedelta(days=days)
    ended = NOW - dt.timedelta(hours=9) if end else None
    test = Test.objects.create(
        cell=cell,
        number=cell.tests.count() + 1,
        protocol=revision,
        started_at=started,
        ended_at=ended,
        end=Term.objects.get(key=f"end.{end}") if end else None,
        state_at_stop="discharged" if end else "",
    )
    room, _ = Chamber.objects.get_or_create(name=chamber)
    position = Position.objects.create(chamber=room, name=str(next(_numbers)))
    channel = Channel.objects.create(name=f"ch{next(_numbers)}")
    Seat.objects.create(
        test=test,
        position=position,
        channel=channel,
        set_temperature_C=temperature_C,
        since=started,
        until=ended,
    )
    return test

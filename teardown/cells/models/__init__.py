"""What is built and what is put to the test."""

from teardown.cells.models.built import Build, Cell, CellQuerySet, FormerCode, LotUse, Study
from teardown.cells.models.recipes import (
    Lot,
    Material,
    Recipe,
    RecipePart,
    RecipeRevision,
    RecipeRevisionQuerySet,
)
from teardown.cells.models.standing import Withdrawable
from teardown.cells.models.testing import (
    Chamber,
    Channel,
    ChannelAccuracy,
    Position,
    Protocol,
    ProtocolRevision,
    Seat,
    Test,
    TestQuerySet,
)

__all__ = [
    "Build",
    "Cell",
    "CellQuerySet",
    "Chamber",
    "Channel",
    "ChannelAccuracy",
    "FormerCode",
    "Lot",
    "LotUse",
    "Material",
    "Position",
    "Protocol",
    "ProtocolRevision",
    "Recipe",
    "RecipePart",
    "RecipeRevision",
    "RecipeRevisionQuerySet",
    "Seat",
    "Study",
    "Test",
    "TestQuerySet",
    "Withdrawable",
]

"""Reads tables of recipes and cells and plans what each row would do. Writes nothing.

``columns`` knows heads, units, numbers and dates; ``recipes`` and ``cells`` know what a row means; ``plan``
puts them together.
"""

from teardown.cells.intake.columns import Column, UnknownHeads
from teardown.cells.intake.plan import KINDS, Plan, example, make_plan
from teardown.cells.intake.reading import Step

__all__ = ["KINDS", "Column", "Plan", "Step", "UnknownHeads", "example", "make_plan"]

"""What a person does with materials, recipes, builds, cells, chambers and tests.

Every deed is keyword-only, takes ``by`` (None only for the application itself at the console) and may take
the time of a past deed as ``at``; each writes one record.
"""

from teardown.cells.actions.cells import NewCell, add_build, add_cells, amend_cell, change_study, keep_study
from teardown.cells.actions.chambers import (
    add_chamber,
    add_channel,
    add_protocol,
    revise_protocol,
    state_accuracy,
)
from teardown.cells.actions.codes import cell_once_called, recode_cell
from teardown.cells.actions.imports import apply_import, show_import, withdraw_import
from teardown.cells.actions.recipes import (
    Part,
    add_lot,
    add_material,
    add_recipe,
    rename_recipe,
    revise_recipe,
)
from teardown.cells.actions.testing import end_test, move_seat, start_test

__all__ = [
    "NewCell",
    "Part",
    "add_build",
    "add_cells",
    "add_chamber",
    "add_channel",
    "add_lot",
    "add_material",
    "add_protocol",
    "add_recipe",
    "amend_cell",
    "apply_import",
    "cell_once_called",
    "change_study",
    "end_test",
    "keep_study",
    "move_seat",
    "recode_cell",
    "rename_recipe",
    "revise_protocol",
    "revise_recipe",
    "show_import",
    "start_test",
    "state_accuracy",
    "withdraw_import",
]

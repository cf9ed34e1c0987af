"""Every way in which a computation or a reader says no, read from where it is written.

Reading the source keeps the list whole by itself, and loads none of the heavy libraries.
"""

import ast
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

HOUSE = Path(__file__).parents[2]


@dataclass(frozen=True, slots=True)
class Refused:
    """A code, what it means, and what to do."""

    code: str
    sentence: str
    hint: str

    @property
    def family(self) -> str:
        """What it belongs to: the part before the point."""
        return self.code.partition(".")[0]


@lru_cache(maxsize=1)
def every_refusal() -> tuple[Refused, ...]:
    """Give every refusal that has a code, in the order of codes."""
    found = {refused.code: refused for path in sorted(HOUSE.rglob("*.py")) for refused in _refusals_in(path)}
    return tuple(found[code] for code in sorted(found))


def _refusals_in(path: Path) -> Iterator[Refused]:
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ClassDef):
            said = {name: _text(value) for name, value in _assignments(node)}
            if said.get("code"):
                yield Refused(
                    said["code"], (ast.get_docstring(node) or "").split("\n\n")[0], said.get("hint", "")
                )


def _assignments(node: ast.ClassDef) -> Iterator[tuple[str, ast.expr]]:
    for line in node.body:
        if isinstance(line, ast.Assign) and isinstance(line.targets[0], ast.Name):
            yield line.targets[0].id, line.value
        elif isinstance(line, ast.AnnAssign) and isinstance(line.target, ast.Name) and line.value is not None:
            yield line.target.id, line.value


def _text(value: ast.expr) -> str:
    """Read a plain or formatted text; names inside a formatted one stay as written."""
    if isinstance(value, ast.Constant) and isinstance(value.value, str):
        return value.value
    if isinstance(value, ast.JoinedStr):
        return "".join(
            _text(p.value) if isinstance(p, ast.FormattedValue) else _text(p) for p in value.values
        )
    return ast.unparse(value).lower().replace("_", " ") if isinstance(value, ast.Name | ast.BinOp) else ""

"""Every remark that a reader or a computation here makes, read from where it is written.

A remark is said beside a number, a refusal instead of one. Reading the source keeps the list whole by itself:
whoever adds a remark has it explained.
"""

import ast
import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from teardown.review.dossier.refusals import every_refusal

HOUSE = Path(__file__).parents[2]
PLACE = "…"  # where a value stands in the sentence
LEVELS = ("error", "warning", "info")
Scope = ast.FunctionDef | ast.AsyncFunctionDef
LOUD = re.compile(r"[A-Z][A-Z0-9_]{3,}")
MAKERS = {"Remark": ("", 5), "_remark": ("", 4), "_flag": ("balance.", 4)}
"""What makes a remark: what stands before its codes, and the place of its remedy."""

FAMILIES = {
    "formats/series": "reading a cycling history",
    "cycling/": "importing a cycling history",
    "science/electrochemistry": "cycles and what they come to",
    "science/balance": "the balance",
    "science/crystallography": "fitting a pattern",
    "formats/phase_fractions": "phase fractions from outside",
    "formats/powder": "reading a pattern",
    "diffraction/": "diffraction in the books",
    "science/stereology": "measuring a section",
    "formats/micrograph": "reading a micrograph",
    "formats/greys": "reading a micrograph",
    "formats/pixel_size": "the scale of a micrograph",
    "imaging/": "micrographs in the books",
    "science/electrolyte": "the electrolyte",
    "formats/": "reading tables",
    "cells/": "tables of cells",
    "dissection/": "the bench",
    "site/": "commands",
}


@dataclass(frozen=True, slots=True)
class Said:
    """A code, where it is said, how grave it is, what it means, and what to do."""

    code: str
    family: str
    levels: tuple[str, ...]
    sentences: tuple[str, ...]
    remedies: tuple[str, ...]


@lru_cache(maxsize=1)
def every_remark() -> tuple[tuple[str, tuple[Said, ...]], ...]:
    """Give every remark that has a code, by what it belongs to, in the order of codes."""
    found: dict[str, list[tuple[str, str, str, str]]] = {}
    for path in sorted(HOUSE.rglob("*.py")):
        family = _family(path.relative_to(HOUSE).as_posix())
        for code, level, sentence, remedy in _remarks_in(path):
            found.setdefault(code, []).append((family, level, sentence, remedy))
    for refused in every_refusal():  # what refuses in one place may be remarked in another
        if refused.code in found:
            found[refused.code].append((found[refused.code][0][0], "error", refused.sentence, refused.hint))
    families: dict[str, list[Said]] = {}
    for code in sorted(found, key=str.lower):
        rows = found[code]
        said = Said(code, rows[0][0], *(_once(row[k] for row in rows) for k in (1, 2, 3)))
        families.setdefault(rows[0][0], []).append(said)
    order = list(dict.fromkeys([*FAMILIES.values(), ""]))
    return tuple((family, tuple(families[family])) for family in order if family in families)


def _once(words: Iterator[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(word for word in words if word.strip(f"{PLACE} .")))


def _family(path: str) -> str:
    return next((words for start, words in FAMILIES.items() if path.startswith(start)), "")


def _remarks_in(path: Path) -> Iterator[tuple[str, str, str, str]]:
    """Give code, level, sentence and remedy of each remark that a file makes."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    for scope in ast.walk(tree):
        if isinstance(scope, Scope):
            for node in ast.walk(scope):
                if isinstance(node, ast.Call) and (made := _maker(node)) is not None:
                    yield from _read(node, scope, *made)
                elif isinstance(node, ast.Tuple):
                    yield from _listed(node, scope)


def _listed(row: ast.Tuple, scope: Scope) -> Iterator[tuple[str, str, str, str]]:
    """Read a row of a list of remarks: somewhere in it a code, a level and a sentence; a remedy last."""
    words = [each.value if isinstance(each, ast.Constant) else None for each in row.elts]
    for place in range(len(words) - 2):
        code, level = words[place], words[place + 1]
        if isinstance(code, str) and LOUD.fullmatch(code) and level in LEVELS:
            sentence, remedy = (_words(row.elts[k], scope, row.lineno) for k in (place + 2, -1))
            yield code, str(level), sentence, remedy


def _maker(call: ast.Call) -> tuple[str, int] | None:
    """Tell whether a call makes a remark: what stands before its codes, and the place of its remedy."""
    name = call.func
    if isinstance(name, ast.Name):
        return MAKERS.get(name.id)
    return ("", 5) if ast.unparse(name) == "draft.say" else None


def _read(call: ast.Call, scope: Scope, prefix: str, last: int) -> Iterator[tuple[str, str, str, str]]:
    named = {keyword.arg: keyword.value for keyword in call.keywords if keyword.arg}

    def part(place: int, name: str) -> str:
        node = call.args[place] if place < len(call.args) else named.get(name)
        return _words(node, scope, call.lineno) if node is not None else ""

    level, sentence, remedy = part(1, "level"), part(2, "message"), part(last, "remedy")
    for code in _codes(call.args[0] if call.args else named.get("code"), scope):
        yield prefix + code, level if level in LEVELS else "", sentence, remedy


def _codes(node: ast.expr | None, scope: Scope) -> Iterator[str]:
    """Give the codes that stand in a call: one as written, or those that a loop runs through."""
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        yield node.value
    elif isinstance(node, ast.IfExp):
        yield from _codes(node.body, scope)
        yield from _codes(node.orelse, scope)
    elif isinstance(node, ast.Name):
        for loop in ast.walk(scope):
            if isinstance(loop, ast.For) and isinstance(loop.target, ast.Tuple):
                names = [ast.unparse(each) for each in loop.target.elts]
                if node.id in names and isinstance(loop.iter, ast.Tuple):
                    for row in loop.iter.elts:
                        if isinstance(row, ast.Tuple):
                            yield from _codes(row.elts[names.index(node.id)], scope)


def _words(node: ast.expr, scope: Scope, line: int) -> str:
    """Read a sentence as it is written, with a mark where a value stands."""
    if isinstance(node, ast.Constant):
        return node.value if isinstance(node.value, str) else ""
    if isinstance(node, ast.JoinedStr):
        return "".join(_words(p, scope, line) if isinstance(p, ast.Constant) else PLACE for p in node.values)
    if isinstance(node, ast.BinOp) and isinstance(node.op, ast.Add):
        return _words(node.left, scope, line) + _words(node.right, scope, line)
    if isinstance(node, ast.IfExp):
        return _words(node.body, scope, line) or _words(node.orelse, scope, line)
    if isinstance(node, ast.Name):
        return _assigned(node.id, scope, line)
    return PLACE


def _assigned(name: str, scope: Scope, line: int) -> str:
    """Read what a local name holds at a line of its function."""
    words = ""
    before = [node for node in ast.walk(scope) if getattr(node, "lineno", line) < line]
    for node in sorted(before, key=lambda node: getattr(node, "lineno", 0)):
        if isinstance(node, ast.Assign | ast.AnnAssign) and node.value is not None:
            targets = node.targets if isinstance(node, ast.Assign) else [node.target]
            if len(targets) == 1 and isinstance(targets[0], ast.Tuple) and isinstance(node.value, ast.Tuple):
                names = [ast.unparse(each) for each in targets[0].elts]
                if name in names:
                    words = _words(node.value.elts[names.index(name)], scope, node.lineno)
            elif any(isinstance(each, ast.Name) and each.id == name for each in targets):
                words = _words(node.value, scope, node.lineno)
        elif isinstance(node, ast.AugAssign) and isinstance(node.target, ast.Name) and node.target.id == name:
            words += _words(node.value, scope, node.lineno)
    return words

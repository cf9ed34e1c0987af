"""A drawing that carries its style sheet, for print shops, PDF and downloads."""

import re
from functools import cache
from pathlib import Path
from typing import Literal

from teardown.page.figures.hatches import HATCHES

STYLES = Path(__file__).resolve().parents[3] / "static" / "css"
_TOKEN = re.compile(r"--(?P<name>[\w-]+):\s*light-dark\(\s*(?P<light>[^,()]+?)\s*,\s*(?P<dark>[^,()]+?)\s*\)")
_PLAIN_TOKEN = re.compile(r"--(?P<name>[\w-]+):\s*(?P<value>[^;{}]+);")


@cache
def colours(scheme: Literal["light", "dark"] = "light") -> dict[str, str]:
    """Read the colour tokens of the house for one scheme."""
    text = (STYLES / "tokens.css").read_text(encoding="utf-8")
    plain = {m["name"]: m["value"].strip() for m in _PLAIN_TOKEN.finditer(text)}
    return plain | {m["name"]: m[scheme] for m in _TOKEN.finditer(text)}


@cache
def style_sheet(scheme: Literal["light", "dark"] = "light", *, hatched: bool = False) -> str:
    """Give the style sheet of drawings with every token resolved, so that any SVG reader understands it."""
    text = (STYLES / "figure.css").read_text(encoding="utf-8")
    drawn = text.partition("/* on a page only */")[0]
    known = colours(scheme)
    resolved = re.sub(r"var\(--([\w-]+)\)", lambda m: known[m[1]], drawn)
    resolved = re.sub(r"/\*.*?\*/", "", resolved, flags=re.DOTALL)
    return resolved + (".drawing .hatch{display:inline}" if hatched else "")


def standalone(drawing: str, *, scheme: Literal["light", "dark"] = "light", hatched: bool = False) -> str:
    """Put style sheet and hatches inside a drawing.

    Parameters
    ----------
    drawing : str
        What `draw` gave.
    scheme : "light" or "dark"
        Which colours.
    hatched : bool
        Show the hatching of classes, for printing in grey.
    """
    head, closed, body = drawing.partition(">")
    return f"{head}{closed}<style>{style_sheet(scheme, hatched=hatched)}</style>{HATCHES}{body}"

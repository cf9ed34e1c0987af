"""The hatches that tell classes apart where print has no colour.

A page carries them once, in its base; a drawing that stands alone carries them inside.
"""

from django.utils.safestring import SafeString, mark_safe

_LINES = {
    "pore": "M0 3h6",  # level lines, as water is drawn
    "oxide": "M0 6L6 0M-1 1L1 -1M5 7L7 5",  # rising to the right; metal stays bare
    "accent": "M0 0L6 6M-1 5L1 7M5 -1L7 1",  # falling to the right
    "soft": "M3 0v6",
    "faint": "M3 3h.1",
    "doubt": "M0 6L6 0M0 0L6 6",  # crossed: somewhere within
}


def _pattern(name: str, line: str) -> str:
    tile = 'width="6" height="6" patternUnits="userSpaceOnUse"'
    return f'<pattern id="hatch-{name}" {tile}><path class="hatch-line" d="{line}"/></pattern>'


HATCHES: SafeString = mark_safe(  # noqa: S308 - constants of ours
    f"<defs>{''.join(_pattern(name, line) for name, line in _LINES.items())}</defs>"
)

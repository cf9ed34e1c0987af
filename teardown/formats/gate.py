"""The gate: uploads are opened first by a child process with little memory and little time.

Run as ``python -m teardown.formats.gate PATH...``; it prints one JSON line a file and never raises. The
parent calls :func:`look`, which survives whatever the child does.
"""

import json
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from teardown.formats import child


def look(paths: Sequence[Path]) -> list[dict[str, Any]]:
    """Open files in a limited child and give the facts of each, in order.

    Returns
    -------
    list of dict
        ``{"ok": True, "kind", "width", "height", "bits", "pages", "candidates", ...}`` or
        ``{"ok": False, "reason"}``.
        A file that kills or stalls the child is refused; the others are asked again one by one.
    """
    if not paths:
        return []
    facts = _ask(paths, child.WALL_SECONDS + 2 * len(paths))
    if facts is not None:
        return facts
    if len(paths) == 1:
        return [{"ok": False, "reason": "The file takes more time or memory to open than is allowed."}]
    return [one for path in paths for one in look([path])]


def _ask(paths: Sequence[Path], seconds: float) -> list[dict[str, Any]] | None:
    answer = child.ask("teardown.formats.gate", *(str(path) for path in paths), wall_s=seconds)
    lines = (answer or b"").decode("utf-8", "replace").splitlines()
    if len(lines) != len(paths):
        return None
    try:
        return [json.loads(line) for line in lines]
    except ValueError:
        return None


def _facts_of(path: Path) -> dict[str, Any]:
    from teardown.formats.micrograph import read_micrograph
    from teardown.formats.mosaic import Mosaic, header_at, is_mosaic
    from teardown.science.errors import Refusal

    try:
        header = header_at(path)
        if is_mosaic(header):
            # a mosaic is read band by band when it is measured; here its first rows show that it can be
            with Mosaic(path) as mosaic:
                mosaic.grey(slice(0, 1), slice(0, header.width))
            remarks = ["read_in_bands"]
        else:
            remarks = [remark.code for remark in read_micrograph(path.read_bytes()).remarks]
    except Refusal as refusal:
        return {"ok": False, "reason": str(refusal), "code": refusal.code}
    except Exception as error:  # noqa: BLE001 - a gate lets nothing through and falls over nothing
        return {"ok": False, "reason": f"The file cannot be opened ({type(error).__name__})."}
    return {
        "ok": True,
        "kind": header.kind,
        "width": header.width,
        "height": header.height,
        "bits": header.bits,
        "pages": header.pages,
        "lossy": header.lossy,
        "strip_rows": header.strip_rows,
        "about": header.about,
        "candidates": [candidate.as_dict() for candidate in header.candidates],
        "remarks": remarks,
    }


def main(arguments: Sequence[str]) -> int:
    """Print the facts of each file; the child's own part."""
    child.limit(cpu_s=child.CPU_SECONDS * max(1, len(arguments)))
    for argument in arguments:
        print(json.dumps(_facts_of(Path(argument))), flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))

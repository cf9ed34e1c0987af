"""A drawing on paper: the typesetter reads what we draw."""

import pytest

from teardown.page.figures import draw, standalone
from teardown.page.finders import typeface_folders
from tests.page.figures.test_drawings import EVERY_KIND

typst = pytest.importorskip("typst")


def test_every_kind_of_drawing_can_be_set_on_paper(tmp_path: object) -> None:
    for i, figure in enumerate(EVERY_KIND):
        (tmp_path / f"{i}.svg").write_text(standalone(str(draw(figure)), hatched=True), encoding="utf-8")  # type: ignore[operator]
    source = "".join(f'#image("{i}.svg", width: 12cm)\n' for i in range(len(EVERY_KIND)))
    (tmp_path / "page.typ").write_text(source, encoding="utf-8")  # type: ignore[operator]
    paper = typst.compile(str(tmp_path / "page.typ"), font_paths=[str(f) for f in typeface_folders()])  # type: ignore[operator]
    assert paper.startswith(b"%PDF")
    assert b"SourceSansPro" in paper

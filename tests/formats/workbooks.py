"""Small workbooks written by hand (ECMA-376), for tests of reading them."""

import io
import zipfile
from xml.sax.saxutils import escape

_MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
_OFFICE = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
_PACKAGE = "http://schemas.openxmlformats.org/package/2006"
_HEAD = '<?xml version="1.0" encoding="UTF-8"?>'


def cell(place: str, value: float | str, *, style: int = 0, formula: str = "", kind: str = "") -> str:
    """Write a cell; text inline."""
    if formula:
        return f'<c r="{place}"><f>{escape(formula)}</f><v>{value}</v></c>'
    if kind:
        return f'<c r="{place}" t="{kind}"><v>{value}</v></c>'
    if isinstance(value, str):
        return f'<c r="{place}" t="inlineStr"><is><t xml:space="preserve">{escape(value)}</t></is></c>'
    return f'<c r="{place}" s="{style}"><v>{value!r}</v></c>'


def row(number: int, *cells: str) -> str:
    """Write a row."""
    return f'<row r="{number}">{"".join(cells)}</row>'


def workbook(*rows: str, before: str = "") -> bytes:
    """Pack rows as the one sheet of a workbook; style 1 shows a date."""
    types = "".join(
        f'<Override PartName="/xl/{part}.xml" ContentType='
        f'"application/vnd.openxmlformats-officedocument.spreadsheetml.{kind}+xml"/>'
        for part, kind in (
            ("workbook", "sheet.main"),
            ("worksheets/sheet1", "worksheet"),
            ("styles", "styles"),
        )
    )

    def links(*targets: tuple[str, str]) -> str:
        inner = "".join(
            f'<Relationship Id="rId{n}" Type="{_OFFICE}/{kind}" Target="{target}"/>'
            for n, (kind, target) in enumerate(targets, 1)
        )
        return f'{_HEAD}<Relationships xmlns="{_PACKAGE}/relationships">{inner}</Relationships>'

    parts = {
        "[Content_Types].xml": f'{_HEAD}<Types xmlns="{_PACKAGE}/content-types">'
        '<Default Extension="rels" ContentType='
        f'"application/vnd.openxmlformats-package.relationships+xml"/>{types}</Types>',
        "_rels/.rels": links(("officeDocument", "xl/workbook.xml")),
        "xl/_rels/workbook.xml.rels": links(("worksheet", "worksheets/sheet1.xml"), ("styles", "styles.xml")),
        "xl/workbook.xml": f'{_HEAD}<workbook xmlns="{_MAIN}" xmlns:r="{_OFFICE}">'
        '<sheets><sheet name="cells" sheetId="1" r:id="rId1"/></sheets></workbook>',
        "xl/styles.xml": f'{_HEAD}<styleSheet xmlns="{_MAIN}"><cellXfs count="2"><xf numFmtId="0"/>'
        '<xf numFmtId="14" applyNumberFormat="1"/></cellXfs></styleSheet>',
        "xl/worksheets/sheet1.xml": f'{_HEAD}{before}<worksheet xmlns="{_MAIN}">'
        f"<sheetData>{''.join(rows)}</sheetData></worksheet>",
    }
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in parts.items():
            archive.writestr(name, text)
    return packed.getvalue()

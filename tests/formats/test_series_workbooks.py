"""Cycling files that came as workbooks."""

from io import BytesIO
from zipfile import ZipFile

import numpy as np

from teardown.formats.series import read_series
from teardown.science.electrochemistry.summary import summarise
from tests.formats.old_workbooks import old_workbook
from tests.formats.series_traps import PHANTOM
from tests.formats.workbooks import cell, row, workbook

S = PHANTOM.series
DAY_OF_EXCEL = 45_809.0  # 1 June 2025, counted as workbooks count


def _book(
    heads: list[str], columns: list[list[float | str]], *, preamble: int = 0, dates: bool = False
) -> bytes:
    rows = [row(k + 1, cell(f"A{k + 1}", "Cycler export"), cell(f"B{k + 1}", 1.5)) for k in range(preamble)]
    rows.append(row(preamble + 1, *(cell(f"{chr(65 + j)}{preamble + 1}", h) for j, h in enumerate(heads))))
    for k in range(len(columns[0])):
        at = preamble + 2 + k
        rows.append(
            row(
                at,
                *(
                    cell(f"{chr(65 + j)}{at}", c[k], style=int(dates and j == 0))
                    for j, c in enumerate(columns)
                ),
            )
        )
    return workbook(*rows)


def _columns() -> list[list[float | str]]:
    return [S.time_s.tolist(), (S.current_A * 1e3).tolist(), S.voltage_V.tolist()]


def _right(data: bytes) -> None:
    found = read_series(data, name="export.xlsx")
    assert found.arrays is not None, found.remarks
    cycles = summarise(found.arrays, iron_mass_g=1.2).cycles
    assert np.allclose(cycles["discharge_Ah"], PHANTOM.discharge_Ah, rtol=1e-6)
    assert np.allclose(cycles["discharge_Wh"], PHANTOM.discharge_Wh, rtol=1e-4)


def test_a_plain_workbook_gives_the_truth() -> None:
    _right(_book(["Time (s)", "Current (mA)", "Voltage (V)"], _columns()))


def test_a_preamble_is_passed_over() -> None:
    _right(_book(["Time (s)", "Current (mA)", "Voltage (V)"], _columns(), preamble=7))


def test_a_workbook_of_the_old_binary_kind_gives_the_truth() -> None:
    heads = ["Time (s)", "Current (mA)", "Voltage (V)"]
    rows = [["Cycler export", 4.0], heads, *map(list, zip(*_columns(), strict=True))]
    _right(old_workbook(rows))


def test_a_workbook_of_the_old_kind_that_was_cut_off_is_refused() -> None:
    whole = old_workbook(
        [["Time (s)", "Current (A)", "Voltage (V)"], *([[float(k), 0.1, 1.2] for k in range(900)])]
    )
    found = read_series(whole[: len(whole) // 2], name="export.xls")
    assert [r.code for r in found.errors] == ["FILE_BROKEN"]
    assert "Export it again" in found.errors[0].remedy


def test_serial_dates_are_a_clock() -> None:
    days = (DAY_OF_EXCEL + S.time_s / 86400).tolist()
    found = read_series(
        _book(["Date", "Current (mA)", "Voltage (V)"], [days, *_columns()[1:]]), name="export.xlsx"
    )
    assert found.arrays is not None, found.remarks
    assert "TIME_FROM_CLOCK" in {r.code for r in found.remarks}
    assert np.allclose(found.arrays.time_s, S.time_s, atol=0.01)


def test_cells_shown_as_dates_are_a_clock() -> None:
    days = (DAY_OF_EXCEL + S.time_s / 86400).tolist()
    data = _book(["Date", "Current (mA)", "Voltage (V)"], [days, *_columns()[1:]], dates=True)
    found = read_series(data, name="export.xlsx")
    assert found.arrays is not None, found.remarks
    assert np.allclose(found.arrays.time_s, S.time_s, atol=1.0)


def test_a_word_among_the_numbers_is_named() -> None:
    columns = _columns()
    columns[2][100] = "overflow"
    found = read_series(_book(["Time (s)", "Current (mA)", "Voltage (V)"], columns), name="export.xlsx")
    assert {"NOT_A_NUMBER", "EMPTY_ROWS"} <= {r.code for r in found.remarks}
    assert any("overflow" in r.message for r in found.remarks)


def test_a_workbook_without_a_table_is_refused() -> None:
    found = read_series(workbook(row(1, cell("A1", "nothing"))), name="export.xlsx")
    assert [r.code for r in found.errors] == ["FILE_BROKEN"]


def _sheets(*sheets: tuple[list[str], list[list[float | str]]]) -> bytes:
    """Write one workbook of several sheets, each from a workbook of one."""
    with ZipFile(BytesIO(_book(*sheets[0]))) as first:
        parts = {name: first.read(name) for name in first.namelist()}
    book = next(name for name in parts if name.endswith("workbook.xml"))
    links = next(name for name in parts if name.endswith("workbook.xml.rels"))
    for k, sheet in enumerate(sheets[1:], 2):
        with ZipFile(BytesIO(_book(*sheet))) as other:
            (held,) = (n for n in other.namelist() if "worksheets/" in n)
            parts[f"xl/worksheets/more{k}.xml"] = other.read(held)
        entry = f'<sheet name="More {k}" sheetId="{k}" r:id="rMore{k}"/></sheets>'
        parts[book] = parts[book].replace(b"</sheets>", entry.encode())
        kind = "http://schemas.openxmlformats.org/officeDocument/2006/relationships/worksheet"
        link = f'<Relationship Id="rMore{k}" Type="{kind}" Target="worksheets/more{k}.xml"/></Relationships>'
        parts[links] = parts[links].replace(b"</Relationships>", link.encode())
    out = BytesIO()
    with ZipFile(out, "w") as packed:
        for name, part in parts.items():
            packed.writestr(name, part)
    return out.getvalue()


def test_a_sheet_of_statistics_before_the_history_is_passed_over() -> None:
    numbers: list[float | str] = [float(k) for k in range(1, 40)]
    statistics = (["Cycle", "Charge (Ah)", "Discharge (Ah)"], [numbers, numbers, numbers])
    data = _sheets(statistics, (["Time (s)", "Current (mA)", "Voltage (V)"], _columns()))
    _right(data)
    found = read_series(data, name="a.xlsx")
    again = read_series(data, name="a.xlsx", column_map=found.document())
    assert again.arrays is not None
    assert np.array_equal(again.arrays.time_s, S.time_s)
    assert "SHEETS_LEFT" in {r.code for r in found.remarks}


def test_sheets_in_the_wrong_order_are_refused() -> None:
    half = S.time_s.size // 2
    heads = ["Time (s)", "Current (mA)", "Voltage (V)"]
    late, early = [c[half:] for c in _columns()], [c[:half] for c in _columns()]
    found = read_series(_sheets((heads, late), (heads, early)), name="a.xlsx")
    assert [r.code for r in found.errors] == ["TIME_BACKWARDS"]

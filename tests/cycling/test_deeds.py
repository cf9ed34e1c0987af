"""Importing cycling files: shown, applied, grown, withdrawn."""

import numpy as np
import pytest
from django.core.exceptions import ValidationError

from teardown.cycling.actions import (
    apply_import,
    import_file,
    reread_import,
    show_import,
    sum_up_again,
    withdraw_import,
)
from teardown.cycling.forms import MapForm
from teardown.cycling.intake import current_files
from teardown.cycling.measure import as_data
from teardown.cycling.models import Curves, CyclingFile, TestSummary
from teardown.files.tasks import work_off
from teardown.formats.series import read_series
from teardown.formats.series_write import Dialect, write_bdf, write_text
from teardown.science.electrochemistry.phantoms import Life, cycling_history
from teardown.science.electrochemistry.summary import summarise
from tests.makers import make_cell, make_test, make_user

pytestmark = pytest.mark.django_db
PHANTOM = cycling_history(cycles=12, life=Life(knee_cycle=None))
PLAIN = {
    "test_time_second": ("Time [s]", 1.0),
    "current_ampere": ("Current [A]", 1.0),
    "voltage_volt": ("Voltage [V]", 1.0),
}


def _text(cycles: int = 12) -> bytes:
    return write_text(PHANTOM.series, Dialect(PLAIN))


def test_an_imported_file_gives_the_truth_per_cycle() -> None:
    test, analyst = make_test(), make_user("analyst")
    file = import_file(test=test, upload=_text(), name="a.csv", by=analyst, apart=False)
    work_off()
    curves, summary = Curves.objects.get(test=test), TestSummary.objects.filter(test=test).first()
    assert file.rows == len(PHANTOM.series)
    assert curves.n == 12
    assert summary is not None
    assert summary.discharge_total_Ah == pytest.approx(PHANTOM.discharge_Ah.sum(), rel=1e-6)
    assert summary.status == "censored-running"


def test_nothing_counts_while_an_import_is_only_shown() -> None:
    test, analyst = make_test(), make_user("analyst")
    delivery = show_import(test=test, upload=_text(), name="a.csv", by=analyst, apart=False)
    assert delivery.planned[0]["would"]["cycles"] == 12
    assert not CyclingFile.objects.exists()
    assert not work_off()


def test_an_upload_is_read_in_a_child_process() -> None:
    delivery = show_import(test=make_test(), upload=_text(), name="a.csv", by=make_user("analyst"))
    assert delivery.planned[0]["would"]["complete_cycles"] == 12


def test_a_refused_file_is_kept_and_never_half_imported() -> None:
    test, analyst = make_test(), make_user("analyst")
    unsigned = _text().replace(b"-0.0", b"0.0")
    with pytest.raises(ValidationError, match="never changes its sign"):
        import_file(test=test, upload=unsigned, name="u.csv", by=analyst, apart=False)
    assert not CyclingFile.objects.exists()
    assert not work_off()


def test_a_second_file_of_a_known_header_needs_no_map() -> None:
    analyst = make_user("analyst")
    bare = _text().replace(b"Time [s],Current [A],Voltage [V]", b"a,b,c")
    with pytest.raises(ValidationError, match="No column is known"):
        import_file(test=make_test(), upload=bare, name="a.csv", by=analyst, apart=False)
    fields = [
        {"name": n, "type": "number", "rdfType": f"https://example.org/bdf#{q}"}
        for n, q in (("a", "test_time_second"), ("b", "current_ampere"), ("c", "voltage_volt"))
    ]
    document = {"schema": {"fields": fields}}
    import_file(test=make_test(), upload=bare, name="a.csv", by=analyst, apart=False, column_map=document)
    second = write_text(cycling_history(cycles=5).series, Dialect(PLAIN)).replace(
        b"Time [s],Current [A],Voltage [V]", b"A, b ,c"
    )
    file = import_file(test=make_test(), upload=second, name="b.csv", by=analyst, apart=False)
    assert file.rows > 0


def test_a_map_can_be_corrected_before_the_import() -> None:
    analyst = make_user("analyst")
    bare = _text().replace(b"Voltage [V]", b"Voltage")
    delivery = show_import(test=make_test(), upload=bare, name="a.csv", by=analyst, apart=False)
    assert [r["code"] for r in delivery.refusals] == ["UNIT_MISSING"]
    delivery = reread_import(delivery=delivery, column_map=delivery.column_map, by=analyst, apart=False)
    assert delivery.refusals == []
    assert apply_import(delivery=delivery, by=analyst).rows > 0


def test_the_same_file_is_refused_with_the_place_of_the_first() -> None:
    test, analyst = make_test(), make_user("analyst")
    import_file(test=test, upload=_text(), name="first.csv", by=analyst, apart=False)
    with pytest.raises(ValidationError, match=r"here already.*first\.csv"):
        import_file(test=make_test(), upload=_text(), name="again.csv", by=analyst, apart=False)


def test_a_grown_file_takes_the_place_of_the_shorter_one_and_gives_it_back() -> None:
    test, analyst = make_test(), make_user("analyst")
    whole = _text()
    cut = whole[: whole.index(b"\n", len(whole) // 2) + 1]
    import_file(test=test, upload=cut, name="a.csv", by=analyst, apart=False)
    work_off()
    short = TestSummary.objects.filter(test=test).first()
    grown = import_file(test=test, upload=whole, name="a.csv", by=analyst, apart=False)
    work_off()
    assert grown.supersedes is not None
    assert Curves.objects.get(test=test).n == 12
    assert grown.delivery is not None
    withdraw_import(delivery=grown.delivery, by=analyst, reason="another cell's file")
    work_off()
    again = TestSummary.objects.filter(test=test).first()
    assert short is not None
    assert again is not None
    assert again.n_cycles == short.n_cycles
    assert again.discharge_total_Ah == short.discharge_total_Ah


@pytest.mark.parametrize("name", ["in a row", "in a step", "between cycles", "in steps of growth"])
def test_a_history_that_grew_is_that_of_the_whole_file_to_the_last_bit(name: str) -> None:
    """However the file was cut when first sent, nothing is lost at the seam and nothing counts twice."""
    test, analyst, whole = make_test(), make_user("analyst"), _text()
    rows = whole.split(b"\n")
    edge = int(np.flatnonzero(np.diff(PHANTOM.series.columns["cycle_count"]))[5]) + 2
    ends = {
        "in a row": [len(whole) // 2 + 7],
        "in a step": [len(b"\n".join(rows[: edge + 9])) + 1],
        "between cycles": [len(b"\n".join(rows[:edge])) + 1],
        "in steps of growth": [len(whole) // 4, len(whole) // 2 + 3, len(whole) * 4 // 5],
    }[name]
    for end in (*ends, len(whole)):
        import_file(test=test, upload=whole[:end], name="growing.csv", by=analyst, apart=False)
        work_off()
    expected = summarise(read_series(whole, name="growing.csv").arrays, iron_mass_g=test.cell.iron_mass_g)
    curves, kept = Curves.objects.get(test=test), TestSummary.objects.filter(test=test).first()
    columns = np.stack([expected.cycles[column] for column in curves.columns]).astype("<f4")
    assert bytes(curves.blob) == columns.tobytes()
    assert kept.metrics == {key: as_data(value) for key, value in expected.metrics.items()}
    assert len(current_files(test)) == 1


def test_a_withdrawn_import_leaves_no_numbers_and_needs_a_reason() -> None:
    test, analyst = make_test(), make_user("analyst")
    file = import_file(test=test, upload=_text(), name="a.csv", by=analyst, apart=False)
    work_off()
    assert file.delivery is not None
    with pytest.raises(ValidationError, match="Say why"):
        withdraw_import(delivery=file.delivery, by=analyst, reason=" ")
    withdraw_import(delivery=file.delivery, by=analyst, reason="wrong cell")
    work_off()
    assert Curves.objects.get(test=test).n == 0
    latest = TestSummary.objects.filter(test=test).first()
    assert latest is not None
    assert latest.status == "no cycling file"


def test_a_withdrawn_file_may_be_imported_again() -> None:
    test, analyst = make_test(), make_user("analyst")
    file = import_file(test=test, upload=_text(), name="a.csv", by=analyst, apart=False)
    assert file.delivery is not None
    withdraw_import(delivery=file.delivery, by=analyst, reason="wrong cell")
    import_file(test=test, upload=_text(), name="a.csv", by=analyst, apart=False)
    work_off()
    assert Curves.objects.get(test=test).n == 12


def test_two_files_of_one_test_are_joined_by_their_clocks() -> None:
    test, analyst = make_test(), make_user("analyst")
    first = cycling_history(cycles=6, start_unix_s=1.9e9)
    later = cycling_history(cycles=6, start_unix_s=1.9e9 + float(first.series.time_s[-1]) + 7200)
    import_file(test=test, upload=write_bdf(later.series), name="b.bdf.csv", by=analyst, apart=False)
    import_file(test=test, upload=write_bdf(first.series), name="a.bdf.csv", by=analyst, apart=False)
    work_off()
    curves = Curves.objects.get(test=test)
    summary = TestSummary.objects.filter(test=test).first()
    assert curves.n == 12
    assert summary is not None
    assert summary.discharge_total_Ah == pytest.approx(2 * first.discharge_Ah.sum(), rel=1e-6)


def test_files_that_tell_of_the_same_hours_are_refused() -> None:
    test, analyst = make_test(), make_user("analyst")
    first = cycling_history(cycles=6, start_unix_s=1.9e9)
    other = cycling_history(cycles=6, start_unix_s=1.9e9 + 3600)
    import_file(test=test, upload=write_bdf(first.series), name="a.bdf.csv", by=analyst, apart=False)
    with pytest.raises(ValidationError, match="hours that"):
        import_file(test=test, upload=write_bdf(other.series), name="b.bdf.csv", by=analyst, apart=False)


def test_a_file_of_another_cell_is_caught_by_its_size() -> None:
    small = make_test(make_cell(iron_mass_g=0.01))
    with pytest.raises(ValidationError, match="that this much iron could give"):
        import_file(test=small, upload=_text(), name="a.csv", by=make_user("analyst"), apart=False)


def test_the_end_of_a_test_changes_what_its_summary_says() -> None:
    from teardown.cells.actions import end_test
    from teardown.vocabulary.models import Term
    from tests.makers import NOW

    test, analyst = make_test(), make_user("analyst")
    import_file(test=test, upload=_text(), name="a.csv", by=analyst, apart=False)
    work_off()
    end_test(test=test, ended_at=NOW, end=Term.objects.get(key="end.diagnosis"), by=analyst)
    work_off()
    latest = TestSummary.objects.filter(test=test).first()
    assert latest is not None
    assert latest.status == "censored-diagnosis"
    assert sum_up_again(test=make_test(), by=analyst) is None


def test_a_bench_chemist_may_not_import() -> None:
    from django.core.exceptions import PermissionDenied

    with pytest.raises(PermissionDenied):
        show_import(test=make_test(), upload=_text(), name="a.csv", by=make_user("bench"))


def test_a_map_may_name_a_current_for_each_direction():
    names = ["Time (s)", "Charge current (mA)", "Discharge current (mA)", "Voltage (V)"]
    told = {"sign": "auto", "unit_0": "s", "unit_1": "mA", "unit_2": "mA", "unit_3": "V"}
    quantities = ("test_time_second", "current_ampere", "current_ampere", "voltage_volt")
    told |= {f"quantity_{k}": quantity for k, quantity in enumerate(quantities)}
    form = MapForm(told, names=names, document={})
    assert form.is_valid(), form.errors
    fields = form.cleaned_data["document"]["schema"]["fields"]
    assert [f["factor"] for f in fields] == pytest.approx([1.0, 1e-3, -1e-3, 1.0])
    twice = MapForm(told, names=[names[0], names[1], "Current (mA)", names[3]], document={})
    assert not twice.is_valid()

"""The benchmark of cycling files measures what it says."""

from io import StringIO

from django.core.management import call_command


def test_a_small_benchmark_reads_its_file_rightly() -> None:
    out = StringIO()
    call_command("benchmark_cycling", "--rows", "8000", stdout=out)
    said = out.getvalue()
    assert "8,000 rows" in said
    assert "bytes a row" in said
    assert "memory of the process" in said
    assert "20,000 draws" in said
    error = float(said.split("largest error of a discharge ")[1].split()[0])
    assert error < 1e-5

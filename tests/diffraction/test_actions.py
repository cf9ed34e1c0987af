"""Patterns are kept, fitted, and judged by deeds that leave their trace."""

import pytest
from django.core.exceptions import PermissionDenied, ValidationError

from teardown.diffraction.actions import add_pattern, fit_again, give_fractions, phases_for, review
from teardown.diffraction.dossier.exported import as_cif
from teardown.diffraction.dossier.making import making_of
from teardown.diffraction.models import Fit, Pattern, PhaseFraction, Review
from teardown.diffraction.rules import likely_phases, out_of_recipe
from teardown.diffraction.runs import fits_of, standing
from teardown.files.models import Receipt, Run, StoredFile
from teardown.files.tasks import work_off
from teardown.records.models import Record
from teardown.science.crystallography.phases import phase_table
from tests.diffraction.patterns import TRUTH, make_pattern, make_piece, pattern_file
from tests.makers import make_user

pytestmark = pytest.mark.django_db
OFFERED = ["iron", "spinel", "iron-hydroxide", "goethite"]


@pytest.fixture
def operator():
    """Someone who may add and judge patterns."""
    return make_user("operator")


@pytest.fixture
def fitted(operator):
    """A pattern of a sample, fitted."""
    pattern = make_pattern(operator, sample=make_piece(), phases=OFFERED)
    work_off()
    return pattern


def test_a_pattern_is_kept_fitted_and_booked(fitted):
    fit = Fit.objects.get(pattern=fitted)
    assert fit.run.state == Run.State.DONE
    assert fit.sample == fitted.sample
    found = {f.phase: f.weight_fraction for f in fit.fractions.filter(below_limit=False)}
    assert found == pytest.approx({"iron": 0.5, "spinel": 0.3, "iron-hydroxide": 0.2}, abs=0.015)
    assert sum(found.values()) == pytest.approx(1, abs=1e-9)
    limit = fit.fractions.get(phase="goethite")
    assert limit.below_limit
    assert limit.esd is None
    assert 0 < limit.weight_fraction < 0.03
    assert all(f.u > f.esd for f in fit.fractions.filter(below_limit=False))
    assert len(fit.statistics["covariance"]["values"]) == 3
    assert fit.run.inputs.get().file == fitted.receipt.file
    assert len(fit.curves) < 200_000


def test_the_arrival_notes_what_the_file_looks_like(operator):
    pattern = make_pattern(operator, file=b"Anode: Co\n" + pattern_file(anode="co"), fit=False)
    assert pattern.radiation == "co"
    assert pattern.facts["points"] == 901
    assert pattern.facts["header"] == "Anode: Co"
    assert Run.objects.count() == 0


@pytest.mark.parametrize(
    ("header", "radiation", "code"),
    [
        (b"", "", "TUBE_ASSUMED"),
        (b"Anode: Co\n", "cu", "TUBE_DIFFERS"),
        (b"wavelength 0.4959\n", "cu", "RADIATION_UNKNOWN"),
    ],
)
def test_a_tube_that_is_in_doubt_is_said_at_arrival(operator, header, radiation, code):
    pattern = make_pattern(operator, file=header + pattern_file(), radiation=radiation, fit=False)
    assert [r["code"] for r in pattern.facts["remarks"]] == [code]


def test_a_tube_that_is_named_is_not_remarked(operator):
    pattern = make_pattern(operator, file=b"Anode: Co\n" + pattern_file(anode="co"), fit=False)
    assert pattern.facts["remarks"] == []


def test_what_was_remarked_at_arrival_goes_along_with_the_fit(fitted):
    (said,) = [flag for flag in Fit.objects.get().flags if flag["code"] == "TUBE_ASSUMED"]
    assert "bring the pattern again" in said["remedy"]


def test_a_result_carries_what_made_it(fitted):
    fit = Fit.objects.select_related("run").get()
    said = dict(making_of(fit))
    assert said["2θ fitted"] == "16.0–70.0°"
    assert said["radiation"] == "Cu Kα, λ 1.5406 Å"
    assert said["phase table"] == phase_table().version
    assert f"run {fit.run_id}" in said["made by"]
    assert "_diffrn_radiation_wavelength.value 1.54059" in as_cif(fit)
    assert "2θ fitted: 16.0–70.0°" in as_cif(fit)


@pytest.mark.parametrize(
    ("said", "says"),
    [
        ({"file": b"1\n2\n3\n"}, "one number"),
        ({"file": b"\x00\x01"}, "binary"),
        ({"phases": ["unobtainium"]}, "unobtainium"),
        ({"phases": []}, "at least one"),
        ({"standard": "corundum"}, "weighed share"),
        ({"standard": "corundum", "standard_fraction": 1.5}, "weighed share"),
        ({"standard": "unobtainium", "standard_fraction": 0.1}, "unobtainium"),
        ({"grain_um": (5.0, 1.0)}, "smaller first"),
        ({"radiation": "xx"}, "xx"),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_is_kept(operator, said, says):
    with pytest.raises(ValidationError, match=says):
        make_pattern(operator, **said)
    assert Pattern.objects.count() == Run.objects.count() == Receipt.objects.count() == 0
    assert StoredFile.objects.count() == 0


def test_only_some_may_add_and_judge(fitted):
    chemist, guest = make_user("bench"), make_user("guest")
    with pytest.raises(PermissionDenied, match="Only"):
        make_pattern(chemist)
    with pytest.raises(PermissionDenied):
        review(fit=Fit.objects.get(), verdict="accept", by=guest)
    with pytest.raises(PermissionDenied):
        give_fractions(result="iron 100(1)", by=chemist, pattern=fitted)
    with pytest.raises(PermissionDenied):
        fit_again(pattern=fitted, phases=["iron"], by=guest)


def test_fitting_again_keeps_what_was_found(fitted, operator):
    first = fit_again(
        pattern=fitted, phases=["iron", "magnetite", "iron-hydroxide"], by=operator, range_deg=(30, 65)
    )
    same = fit_again(
        pattern=fitted, phases=["iron", "magnetite", "iron-hydroxide"], by=operator, range_deg=(30, 65)
    )
    assert first == same
    work_off()
    assert Fit.objects.filter(pattern=fitted).count() == 2
    assert standing([fitted])[fitted.pk].run == first


@pytest.mark.parametrize(
    "asked",
    [
        {"phases": []},
        {"phases": ["iron", "unobtainium"]},
        {"phases": ["iron"], "range_deg": (80, 30)},
        {"phases": ["iron"], "particle_size_um": (0, 3)},
    ],
)
def test_a_question_that_cannot_be_asked_makes_no_run(fitted, operator, asked):
    before = Run.objects.count()
    with pytest.raises(ValidationError):
        fit_again(pattern=fitted, by=operator, **asked)
    assert Run.objects.count() == before


def test_the_accepted_fit_stands_and_a_rejected_one_never(fitted, operator):
    first = Fit.objects.get()
    fit_again(pattern=fitted, phases=["iron", "magnetite", "iron-hydroxide"], by=operator)
    work_off()
    second = Fit.objects.exclude(pk=first.pk).get()
    assert standing([fitted])[fitted.pk] == second
    review(fit=second, verdict="reject", reason="goethite was left out", by=operator)
    assert standing([fitted])[fitted.pk] == first
    review(fit=first, verdict="accept", reason="grains are fine", by=operator)
    assert standing([fitted])[fitted.pk] == first
    assert fits_of(fitted.sample) == [second, first]


def test_rejecting_needs_a_reason_and_grave_remarks_need_one_to_be_accepted(fitted, operator):
    fit = Fit.objects.get()
    assert "BRINDLEY_OUT" in {f["code"] for f in fit.flags}
    with pytest.raises(ValidationError, match="why"):
        review(fit=fit, verdict="reject", by=operator)
    with pytest.raises(ValidationError, match="grave remark"):
        review(fit=fit, verdict="accept", by=operator)
    assert Review.objects.count() == 0
    review(fit=fit, verdict="accept", reason="Only compared with the same tube and iron.", by=operator)
    assert Record.objects.last().verb == "accepted"


def test_a_pattern_that_cannot_be_fitted_fails_in_words(operator):
    flat = "\n".join(f"{20 + i * 0.05:.2f} 0.0{i % 7}" for i in range(1200)).encode()
    make_pattern(operator, file=flat, phases=["ceria"])
    work_off()
    run = Run.objects.get()
    if run.state == Run.State.FAILED:
        assert run.error
        assert "Traceback" not in run.error
    else:
        assert Fit.objects.get().flags


TYPED = "iron 61.2(8)\nFe3O4 38.1(8)\nunobtainite 0.7(2)\ngoethite < 1,2\nRwp 8.1\nRexp 6\nGoF 1.35\n"


def test_fractions_from_elsewhere_are_kept_and_booked(operator):
    sample = make_piece()
    run = give_fractions(result=TYPED, sample=sample, by=operator, source="the university's refinement")
    work_off()
    fit = Fit.objects.get(run=run)
    rows = {f.phase: f for f in fit.fractions.all()}
    assert rows["iron"].weight_fraction == pytest.approx(0.612)
    assert rows["iron"].esd == pytest.approx(0.008)
    assert rows["magnetite"].phase_table_version
    assert rows["unobtainite"].phase_table_version == ""
    assert rows["goethite"].below_limit
    assert rows["goethite"].weight_fraction == pytest.approx(0.012)
    assert (fit.Rwp, fit.GoF) == (pytest.approx(0.081), 1.35)
    assert fit.source == "the university's refinement"
    assert [flag["code"] for flag in fit.flags] == ["EXT_OLD_PHASE"]
    assert fit.sample == sample
    assert fit.pattern is None


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "empty"),
        ("iron abc", "Line 1"),
        ("ferrite 60(1)\nhematite 40(1)", "may mean"),
        ("iron 140", "outside"),
    ],
)
def test_fractions_that_cannot_be_booked_are_refused_and_not_kept(operator, text, says):
    with pytest.raises(ValidationError, match=says):
        give_fractions(result=text, sample=make_piece(), by=operator)
    assert Run.objects.count() == StoredFile.objects.count() == 0


def test_an_ambiguous_name_is_settled_by_the_person(operator):
    sample = make_piece()
    give_fractions(
        result="ferrite 60(1)\nhematite 40(1)", sample=sample, by=operator, names={"ferrite": "iron"}
    )
    work_off()
    assert set(PhaseFraction.objects.values_list("phase", flat=True)) == {"iron", "hematite"}


def test_two_results_that_differ_say_so(fitted, operator):
    give_fractions(result="iron 20(1)\nspinel 60(1)\nFe(OH)2 20(1)", pattern=fitted, by=operator)
    give_fractions(result="iron 50(1)\nspinel 30(1)\nFe(OH)2 20(1)", pattern=fitted, by=operator)
    work_off()
    apart, alike = Fit.objects.filter(run__function="diffraction.external").order_by("pk")
    assert "DIFFERS" in {f["code"] for f in apart.flags}
    assert "DIFFERS" not in {f["code"] for f in alike.flags}


def test_phases_follow_the_recipe():
    assert likely_phases(["Bi", "S", "K"])[:5] == (
        "iron",
        "spinel",
        "iron-hydroxide",
        "mackinawite",
        "potassium-carbonate",
    )
    assert "bismuth" in likely_phases(["Bi"])
    assert "potassium-carbonate" not in likely_phases(["K"], rinsed=True)
    assert len(likely_phases(["Bi", "S", "Ni", "Zn", "Cl", "C"], standard="fluorite")) == 8
    assert "feroxyhyte" in likely_phases([], standing_discharged=True)
    assert out_of_recipe(["iron", "akaganeite", "mackinawite"], ["S"]) == ["akaganeite"]
    assert out_of_recipe(["akaganeite"], []) == []


def test_a_phase_foreign_to_the_recipe_is_remarked(operator):
    made = pattern_file({"iron": 0.6, "sylvite": 0.4})
    make_pattern(operator, file=made, sample=make_piece(), phases=["iron", "sylvite"])
    work_off()
    (flag,) = [f for f in Fit.objects.get().flags if f["code"] == "PHASE_NOT_IN_RECIPE"]
    assert "holds no Cl" in flag["message"]


def test_a_sample_s_recipe_is_read(operator):
    sample = make_piece()
    offered = phases_for(sample)
    assert offered[:3] == ("iron", "spinel", "iron-hydroxide")
    assert {"mackinawite", "bismuth"} <= set(offered)  # the maker's recipe holds bismuth sulfide


def test_each_deed_writes_one_record(operator):
    before = Record.objects.count()
    sample = make_piece()
    made = Record.objects.count()
    pattern = make_pattern(operator, sample=sample, phases=["iron"])
    fit_again(pattern=pattern, phases=["iron", "spinel"], by=operator)
    give_fractions(result="iron 100(1)", pattern=pattern, by=operator)
    assert Record.objects.count() == made + 3
    assert before <= made
    assert TRUTH


def test_a_large_file_is_refused(operator):
    with pytest.raises(ValidationError, match="more than a powder pattern"):
        add_pattern(file=b"1 2\n" * 6_000_000, by=operator)

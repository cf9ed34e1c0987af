"""The pages of patterns: who may see and do what, in how many queries, and what they say."""

import pytest
from django.urls import reverse

from teardown.diffraction.actions import review
from teardown.diffraction.models import Fit, Pattern, Review
from teardown.diffraction.runs import standing
from teardown.files.models import Run
from teardown.files.tasks import work_off
from tests.diffraction.patterns import make_pattern, make_piece, pattern_file
from tests.makers import make_cell, make_user

pytestmark = pytest.mark.django_db
OFFERED = ["iron", "spinel", "iron-hydroxide", "goethite"]


@pytest.fixture
def operator():
    return make_user("operator")


@pytest.fixture
def web(client, operator):
    client.force_login(operator)
    return client


@pytest.fixture
def fitted(operator):
    pattern = make_pattern(operator, sample=make_piece(cell=make_cell("SP-0451")), phases=OFFERED)
    work_off()
    return pattern


def test_the_page_opens_with_what_was_found(web, fitted):
    page = web.get(reverse("pattern", args=[fitted.pk])).content.decode()
    assert "by mass alpha-iron (ferrite) 50" in page
    assert "SP-0451" in page
    assert "less than" in page
    assert "e.s.d., wt%" in page
    assert "standard uncertainty (k = 1)" in page
    assert "2θ fitted" in page
    assert page.count("<svg") >= 4
    assert "hides the core" in page
    assert "style=" not in page


def test_any_stretch_in_the_address_gives_a_page(web, fitted):
    asked = ("low=30&high=50", "low=50&high=30", "low=x&high=y", "low=400", "scale=log", "scale=linear")
    for query in (*asked, "scale=odd", "fit=9999", "fit=x"):
        assert web.get(f"{reverse('pattern', args=[fitted.pk])}?{query}").status_code == 200, query


def test_the_page_of_a_pattern_takes_few_queries(web, fitted, operator, django_assert_max_num_queries):
    with django_assert_max_num_queries(24):
        web.get(reverse("pattern", args=[fitted.pk]))


def test_the_list_takes_as_many_queries_for_many_as_for_few(web, operator, django_assert_num_queries):
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    make_pattern(operator, sample=make_piece("1000001A", cell=make_cell()), phases=["iron"])
    work_off()
    with CaptureQueriesContext(
        connection,
    ) as few:
        web.get(reverse("patterns"))
    for n in range(2, 5):
        make_pattern(
            operator,
            file=pattern_file(seed=n),
            sample=make_piece(f"100000{n}A", cell=make_cell()),
            phases=["iron"],
        )
    work_off()
    with django_assert_num_queries(len(few)):
        web.get(reverse("patterns"))


def test_the_list_answers_by_cell_phase_and_standing(web, fitted, operator):
    make_pattern(operator, file=pattern_file({"hematite": 1.0}), name="other.xy", phases=["hematite"])
    work_off()

    def listed(**asked):
        return [row.pattern for row in web.get(reverse("patterns"), asked).context["rows"]]

    assert listed(cell="sp-0451") == [fitted]
    assert listed(phase="iron-hydroxide") == [fitted]
    assert listed(phase="goethite") == []  # below its limit is no finding
    assert len(listed(standing="proposed")) == 2
    review(fit=Fit.objects.get(pattern=fitted), verdict="accept", reason="seen", by=operator)
    assert listed(standing="accepted") == [fitted]
    assert listed(sample="999") == []


def test_bringing_a_pattern_goes_to_its_page(web):
    from django.core.files.uploadedfile import SimpleUploadedFile

    piece = make_piece()
    answer = web.post(
        reverse("add_pattern"),
        {"file": SimpleUploadedFile("a.xy", pattern_file()), "sample": piece.code.lower(), "radiation": "cu",
         "grain_low_um": "0,5", "grain_high_um": "2", "standard": ""},
    )  # fmt: skip
    pattern = Pattern.objects.get()
    assert answer.url == reverse("pattern", args=[pattern.pk])
    assert pattern.sample == piece
    assert (pattern.grain_low_um, pattern.grain_high_um) == (0.5, 2)
    waiting = web.get(answer.url).content.decode()
    assert "being fitted" in waiting
    assert web.get(reverse("pattern_fitted", args=[pattern.pk])).headers.get("HX-Refresh") is None
    work_off()
    assert web.get(reverse("pattern_fitted", args=[pattern.pk])).headers["HX-Refresh"] == "true"


@pytest.mark.parametrize(
    ("said", "says"),
    [
        ({"content": b"1\n2\n"}, "one number"),
        ({"sample": "NOPE"}, "No sample has the code NOPE"),
        ({"grain_low_um": "2"}, "both ends"),
        ({"grain_low_um": "5", "grain_high_um": "2"}, "smaller end comes first"),
        ({"standard": "corundum"}, "weighed share"),
        ({"standard_percent": "10"}, "weighed share"),
        ({"standard": "corundum", "standard_percent": "1_0"}, "1_0"),
    ],
)
def test_a_bad_form_says_why_and_keeps_nothing(web, said, says):
    from django.core.files.uploadedfile import SimpleUploadedFile

    content = said.pop("content", None) or pattern_file()
    answer = web.post(reverse("add_pattern"), {"file": SimpleUploadedFile("a.xy", content), **said})
    assert answer.status_code == 422
    assert says in answer.content.decode()
    assert Pattern.objects.count() == 0


def test_fitting_again_and_judging_by_hand(web, fitted):
    again = web.post(
        reverse("pattern_fit", args=[fitted.pk]), {"phases": ["iron", "magnetite", "iron-hydroxide"]}
    )
    assert again.status_code == 302
    work_off()
    newest = standing([fitted])[fitted.pk]
    web.post(reverse("fit_review", args=[newest.pk]), {"verdict": "reject", "reason": ""})
    assert Review.objects.count() == 0
    web.post(reverse("fit_review", args=[newest.pk]), {"verdict": "reject", "reason": "goethite left out"})
    assert Review.objects.get().fit == newest
    page = web.get(reverse("pattern", args=[fitted.pk])).content.decode()
    assert "goethite left out" in page


@pytest.mark.parametrize(
    ("asked", "says"),
    [
        ({}, "Tick at least one phase"),
        ({"phases": ["iron"], "range_low_deg": "30"}, "both numbers of the range"),
        ({"phases": ["iron"], "range_low_deg": "80", "range_high_deg": "30"}, "rises"),
        ({"phases": ["nonsense"]}, "nonsense"),
    ],
)
def test_a_bad_wish_for_a_fit_says_why(web, fitted, asked, says):
    before = Run.objects.count()
    answer = web.post(reverse("pattern_fit", args=[fitted.pk]), asked)
    assert answer.status_code == 422
    assert says in answer.content.decode()
    assert Run.objects.count() == before


def test_a_phase_left_out_is_one_touch_away(web, operator):
    pattern = make_pattern(operator, phases=["iron", "spinel"])
    work_off()
    page = web.get(reverse("pattern", args=[pattern.pk]))
    assert page.context["page"].shown.missing[0][0] == "iron-hydroxide"
    assert "Fit again with iron(II) hydroxide too" in page.content.decode()


def test_fractions_are_typed_for_a_pattern_and_for_a_sample(web, fitted):
    web.post(
        reverse("pattern_fractions", args=[fitted.pk]), {"text": "iron 50(1)\nspinel 50(1)", "source": "ours"}
    )
    answer = web.post(
        reverse("give_fractions"), {"sample": fitted.sample.code, "text": "iron 50(1)\nspinel 50(1)"}
    )
    assert answer.status_code == 302
    work_off()
    alone = Fit.objects.get(pattern=None)
    page = web.get(reverse("fit", args=[alone.pk])).content.decode()
    assert "e.s.d. as they were given" in page
    assert "Brought from outside" in page
    assert "50.00" in page
    assert web.get(reverse("fit", args=[Fit.objects.filter(pattern=fitted).last().pk])).status_code == 302


@pytest.mark.parametrize(
    ("said", "says"),
    [
        ({"text": "iron 50(1)"}, "Say which sample"),
        ({"sample": "1234567A"}, "one of the two"),
        ({"sample": "1234567A", "text": "iron x"}, "Line 1"),
        ({"sample": "1234567A", "text": "ferrite 60(1)\nhematite 40(1)"}, "may mean"),
    ],
)
def test_bad_fractions_say_why(web, said, says):
    make_piece()
    answer = web.post(reverse("give_fractions"), said)
    assert answer.status_code == 422
    assert says in answer.content.decode()
    assert Run.objects.count() == 0


def test_a_result_is_taken_away_and_read_again(web, fitted):
    from teardown.formats.phase_fractions import read_fractions

    fit = standing([fitted])[fitted.pk]
    answer = web.get(reverse("fit_cif", args=[fit.pk]))
    assert answer["Content-Disposition"] == f'attachment; filename="fit-{fit.pk}.cif"'
    back = {row.phase: row for row in read_fractions(answer.content).rows}
    for row in fit.fractions.filter(below_limit=False):
        assert back[row.phase].weight_fraction == pytest.approx(row.weight_fraction, abs=1e-5)
        assert back[row.phase].esd == pytest.approx(row.esd, abs=1e-5)
    assert "goethite: less than" in answer.content.decode()
    table = web.get(reverse("fit_curves", args=[fit.pk])).content.decode().splitlines()
    assert table[0].startswith("two_theta_deg,measured_counts,calculated_counts")
    assert len(table) == 902


def test_several_patterns_stand_together(web, fitted, operator):
    other = make_pattern(operator, file=pattern_file({"iron": 1.0}), name="b.xy", fit=False)
    for how in ("stacked", "over"):
        page = web.get(reverse("patterns_together"), {"pattern": [fitted.pk, other.pk], "how": how})
        assert page.status_code == 200
        assert "SP-0451" in page.content.decode()
        assert "b.xy" in page.content.decode()  # named as not shown: it has no fit
    assert web.get(reverse("patterns_together")).status_code == 200


def test_a_guest_sees_only_patterns_of_closed_cells(client, fitted):
    client.force_login(make_user("guest"))
    assert client.get(reverse("pattern", args=[fitted.pk])).status_code == 404
    fit = standing([fitted])[fitted.pk]
    assert client.get(reverse("fit_cif", args=[fit.pk])).status_code == 404
    assert client.get(reverse("patterns")).context["rows"] == []


def test_who_may_not_is_told_who_may(client, fitted):
    client.force_login(make_user("bench"))
    fit = standing([fitted])[fitted.pk]
    assert client.get(reverse("pattern", args=[fitted.pk])).status_code == 200
    refused = client.post(reverse("fit_review", args=[fit.pk]), {"verdict": "accept"})
    assert refused.status_code == 403
    assert "Only" in refused.content.decode()
    assert client.get(reverse("add_pattern")).status_code == 403


def test_a_pattern_that_could_not_be_fitted_says_so(web, operator):
    pattern = make_pattern(operator, phases=["ceria"])
    Run.objects.update(state=Run.State.FAILED, error="The file is gone.")
    page = web.get(reverse("pattern", args=[pattern.pk])).content.decode()
    assert "could not be fitted" in page
    assert "The file is gone." in page


def test_the_page_of_the_list_does_not_load_the_fitting_code():
    import subprocess
    import sys

    code = (
        "import django, os; os.environ['DJANGO_SETTINGS_MODULE'] = 'tests.settings'; django.setup();"
        "import teardown.diffraction.urls, sys;"
        "assert not {'gemmi', 'scipy.sparse', 'teardown.diffraction.measure'} & set(sys.modules)"
    )
    subprocess.run([sys.executable, "-c", code], check=True)


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"1\n2\n3\n", "one number"),
        (b"10 1\n11 2\n12 3\n13 4\n14 5\n", "5 points"),
        ("\n".join(f"{90 - i * 0.02:.2f} {i}" for i in range(2000)).encode(), "fall"),
        ("\n".join(f"{1 + i * 0.003:.3f} {i}" for i in range(2000)).encode(), "q in 1/Å"),
        ("\n".join(f"{20 + i * 0.02:.2f} {'nan' if i == 7 else i}" for i in range(2000)).encode(), "row 8"),
        (b"\x00\x01RAW", "binary"),
    ],
)
def test_a_bad_file_is_refused_with_its_sentence_and_leaves_nothing(web, content, says):
    from django.core.files.uploadedfile import SimpleUploadedFile

    answer = web.post(reverse("add_pattern"), {"file": SimpleUploadedFile("bad.xy", content)})
    assert answer.status_code == 422
    assert says in answer.content.decode()
    assert not Pattern.objects.exists()


def test_an_empty_list_of_phases_is_refused_on_the_page(web, fitted):
    answer = web.post(reverse("pattern_fit", args=[fitted.pk]), {"phases": []})
    assert answer.status_code == 422
    assert "Tick at least one phase." in answer.content.decode()


def test_on_the_page_of_its_cell_sums_stand_and_limits_stay_limits(client, fitted):
    client.force_login(make_user("analyst", username="analyst"))
    page = " ".join(client.get(reverse("cell", args=["SP-0451"])).content.decode().split())
    limit = Fit.objects.get(pattern=fitted).fractions.get(phase="goethite")
    assert limit.below_limit
    assert "By group: iron metal and carbide 50" in page
    assert f"oxyhydroxide less than {100 * limit.weight_fraction:.2f}" in page
    assert "oxyhydroxide 0" not in page

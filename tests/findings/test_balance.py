"""The balance of a cell from the books: made in the worker, refused in words, shown with its making."""

import datetime as dt

import numpy as np
import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.urls import reverse

from teardown.cells.models import Cell, Test
from teardown.cycling.models import TestSummary
from teardown.diffraction.models import Fit, Pattern, PhaseFraction, Review
from teardown.files.models import Receipt, Run, StoredFile
from teardown.files.tasks import work_off
from teardown.findings.actions import Assigned, ask_balance, judge, state
from teardown.findings.dossier.balance import balance_of
from teardown.findings.measure.assumed import Books
from teardown.findings.measure.books import inputs_of
from teardown.findings.measure.powder import covariance_of
from teardown.findings.models import Balance, Stated
from teardown.findings.rules import USUAL, faults_of_stated
from teardown.imaging.models import SampleMeasure
from teardown.science.balance.draws import first_order
from teardown.vocabulary.models import Term
from tests.findings.findings import Opened, make_entry, make_run, mode
from tests.makers import NOW, make_build, make_cell, make_user

pytestmark = pytest.mark.django_db


class Balanced(Opened):
    """The cell of the worked example, told through the books: weighed, scanned, cycled, photographed."""

    def __init__(
        self,
        cell: Cell | None = None,
        *,
        radiation: str = "co",
        preparation: str = "ground",
        rest_measured: bool = True,
        hours_at_rest: float = 9.0,
        doubts: bool = True,
        grain_um: tuple[float, float] = (None, None),
    ) -> None:
        """Write everything that a balance asks for, or leave some out."""
        super().__init__(cell or make_cell(iron_mass_g=1.2, inert_mass_g=0.048, build_mass_g=60.0))
        if hours_at_rest != 9.0:
            self.test.ended_at = NOW - dt.timedelta(hours=hours_at_rest)
            self.test.save()
        make_entry(self.dissection, "dry.mass_g", value=1.56, unit="g", value_text="1.560")
        for value in (945.0, 950.0, 955.0):
            make_entry(self.dissection, "iron.thickness_um", value=value, unit="µm", value_text=str(value))
        stored = StoredFile.objects.create(sha256=f"{self.cell.pk:064d}", bytes=1, kind="xy")
        pattern = Pattern.objects.create(
            sample=self.sample,
            receipt=Receipt.objects.create(file=stored, name="scan.xy"),
            radiation=radiation,
            preparation=preparation,
            grain_low_um=grain_um[0],
            grain_high_um=grain_um[1],
        )
        self.fit = Fit.objects.create(
            pattern=pattern, run=make_run("diffraction.fit", f"diffraction.pattern:{pattern.pk}")
        )
        shares = {"iron": 0.30, "iron-hydroxide": 0.25, "magnetite": 0.43, "potassium-carbonate": 0.02}
        for phase, share in shares.items():
            PhaseFraction.objects.create(
                fit=self.fit, phase=phase, weight_fraction=share, u=0.012 if doubts else None
            )
        TestSummary.objects.create(
            test=self.test,
            run=make_run("cycling.summarise", f"cells.test:{self.test.pk}"),
            status="reached",
            n_cycles=290,
            n_complete=290,
            q_ref_Ah=0.640,
            q_ref_u_Ah=0.0019,
            q_ref_first_plateau_Ah=0.520,
            q_last_Ah=0.402,
            q_last_first_plateau_Ah=0.350,
            charge_total_Ah=172.4,
            discharge_total_Ah=151.9,
            net_u_Ah=0.23 if doubts else None,
            metrics={"self_discharge_per_day": 0.08} if rest_measured else {},
        )
        for quantity, value in (("porosity", 0.455), ("oxide_fraction", 0.395)):
            SampleMeasure.objects.create(
                run=make_run("imaging.sample", f"dissection.sample:{self.sample.pk}"),
                sample=self.sample,
                quantity=quantity,
                value=value,
                low=value - 0.05,
                high=value + 0.05,
                unit="1",
                n=5,
                method="Student's t over fields",
            )


def make_balance(cell: Cell) -> Balance:
    ask_balance(cell=cell, by=make_user("analyst"))
    work_off()
    return Balance.objects.filter(cell=cell).first()


def quantity(balance: Balance, key: str) -> dict:
    return next(row for row in balance.rows if row.get("key") == key and row["kind"] == "quantity")


def test_the_books_give_the_balance_of_the_worked_cell():
    balance = make_balance(Balanced().cell)
    # purity is assumed 0.995 and the density of the hydroxide is the phase table's, else as by hand
    assert quantity(balance, "closure")["first_order"] == pytest.approx(0.9756 * 0.990 / 0.995, abs=0.04)
    assert quantity(balance, "oxide_Ah")["value"] == pytest.approx(0.83, abs=0.06)
    assert quantity(balance, "parasitic_Ah")["value"] == pytest.approx(21.33, abs=0.1)
    assert balance.run.state == Run.State.DONE
    assert {row["kind"] for row in balance.rows} == {"quantity", "mark", "ledger", "assumed", "headline"}


def assumed_of(balance: Balance) -> dict[str, dict]:
    return {row["key"]: row for row in balance.rows if row["kind"] == "assumed"}


def test_what_was_assumed_is_said_with_number_source_and_where_it_is_asked_for():
    assumed = assumed_of(make_balance(Balanced().cell))
    assert assumed["purity"]["said"] == "99.5 ± 0.3 %"
    assert assumed["purity"]["source"] == "common practice, no source"
    assert "lot of the iron" in assumed["purity"]["mend"]
    assert assumed["amorphous"]["said"] == "0 to 15 %"
    assert assumed["grain"]["said"] == "0.1 to 5 µm"
    assert "rest" not in assumed  # it was measured
    numbered = {key for key, row in assumed.items() if row["said"]}
    assert all(assumed[key]["mend"] and assumed[key]["source"] for key in numbered)


def test_every_default_is_one_that_can_be_stated():
    """Both ends of what each may be, and nothing beyond; the usual itself lies within."""
    for usual in USUAL.values():
        assert faults_of_stated(usual, usual.value, usual.doubt) == []
        beyond = (0.0, usual.most + 1) if usual.shape == "doubt" else (usual.most + 1, 0.0)
        assert faults_of_stated(usual, *beyond), usual.key
        assert usual.said(usual.value, usual.doubt).strip()


def test_loss_and_conversion_at_rest_are_said_in_the_same_terms():
    opened = Balanced(rest_measured=False, hours_at_rest=72)
    assumed = assumed_of(make_balance(opened.cell))
    assert assumed["rest"]["said"] == "0.5 ± 0.25 % a day"
    assert assumed["converted"]["said"] == "0 to 1 % a day"
    assert USUAL["rest"].value == USUAL["converted"].value


@pytest.mark.parametrize("key", sorted(USUAL))
def test_what_is_stated_takes_the_place_of_what_is_assumed(key):
    usual, analyst = USUAL[key], make_user("analyst")
    opened = Balanced(rest_measured=False, hours_at_rest=72, doubts=False)
    if key == "drying":
        make_entry(opened.dissection, "dry.how", answer=Term.objects.get(key="dry.how.air"))
    before, taken = inputs_of(opened.cell)
    assert key in {each.key for each in taken}
    value = usual.value * 1.005 if usual.shape != "doubt" else 0.0
    state(
        cell=opened.cell, key=key, value=value, doubt=0.25 * usual.doubt, source="weighed again", by=analyst
    )
    after, taken = inputs_of(opened.cell)
    row = next(each for each in taken if each.key == key)
    assert row.stated
    assert "weighed again" in row.source
    surer = [
        name for name, u in first_order(after)[1].items() if u < first_order(before)[1][name] * (1 - 1e-6)
    ]
    assert surer, "nothing became surer"
    state(cell=opened.cell, key=key, value=None, source="taken back", by=analyst)
    assert not next(each for each in inputs_of(opened.cell)[1] if each.key == key).stated


def test_what_cannot_be_is_not_taken():
    cell, analyst = Balanced().cell, make_user("analyst")
    with pytest.raises(ValidationError, match="lies within 50 to 100 %"):
        state(cell=cell, key="purity", value=1.4, source="a slip", by=analyst)
    with pytest.raises(ValidationError, match="Say where it is from"):
        state(cell=cell, key="purity", value=0.99, source=" ", by=analyst)
    with pytest.raises(ValidationError, match="nothing that a balance assumes"):
        state(cell=cell, key="luck", value=0.99, source="x", by=analyst)
    with pytest.raises(PermissionDenied):
        state(cell=cell, key="purity", value=0.99, source="x", by=make_user("guest"))
    assert not Stated.objects.exists()


def test_a_statement_is_made_at_the_page_and_taken_back_there(client):
    opened = Balanced()
    make_balance(opened.cell)
    client.force_login(make_user("analyst"))
    address = reverse("state_assumption", args=[opened.cell.code, "amorphous"])
    refused = client.post(address, {"first": "9", "second": "3", "source": "a guess"})
    assert refused.status_code == 422
    assert "ends above where it begins" in refused.content.decode()
    client.post(address, {"first": "2", "second": "5", "source": "a standard was added later"})
    work_off()
    page = client.get(reverse("balance", args=[opened.cell.code])).content.decode()
    assert "2 to 5 %" in page
    assert "a standard was added later" in page
    client.post(address, {"do": "back"})
    work_off()
    assert "0 to 15 %" in client.get(reverse("balance", args=[opened.cell.code])).content.decode()
    assert client.post(reverse("state_assumption", args=[opened.cell.code, "luck"])).status_code == 404


def test_the_covariance_of_the_fit_is_used():
    opened = Balanced()
    rows = list(opened.fit.fractions.order_by("pk"))
    plain = covariance_of(Books(opened.cell), opened.fit, rows, 1.0)
    names = [row.phase for row in rows]
    kept = np.zeros((4, 4))
    kept[0, 0] = kept[2, 2] = 0.03**2
    kept[0, 2] = kept[2, 0] = -(0.03**2)  # metal and magnetite trade places
    opened.fit.statistics = {"covariance": {"phases": names[::-1], "values": kept[::-1, ::-1].tolist()}}
    books = Books(opened.cell)
    found = covariance_of(books, opened.fit, rows, 1.0)
    assert "covariance" not in books.assumed
    assert found[0, 2] < -0.0008 < plain[0, 2]
    assert found[0, 0] == pytest.approx(0.03**2, rel=0.3)
    assert np.abs(found.sum(axis=0)).max() < 1e-12  # shares still add up to one


def test_grains_that_were_told_are_drawn_and_not_assumed():
    told = make_balance(Balanced(radiation="cu", grain_um=(2.0, 5.0)).cell)
    assert "grain" not in assumed_of(told)
    plain = make_balance(Balanced(radiation="mo").cell)
    # copper hides metal in coarse grains: with their size, it is found again
    assert quantity(told, "metal_share")["value"] > quantity(plain, "metal_share")["value"] + 0.02


def test_nothing_is_computed_again_while_nothing_changed():
    opened = Balanced()
    first = make_balance(opened.cell)
    assert make_balance(opened.cell) == first
    assert Balance.objects.count() == 1
    other = Balanced()
    Review.objects.create(fit=other.fit, verdict="reject", reason="Wrong sample.", by=make_user("operator"))
    assert make_balance(opened.cell) == first, "what was rejected of another cell is none of its inputs"
    make_entry(opened.dissection, "dry.mass_g", value=1.50, unit="g", value_text="1.500")
    second = make_balance(opened.cell)
    assert second != first
    state(cell=opened.cell, key="area", value=0.0, doubt=0.002, source="callipers", by=make_user("analyst"))
    assert make_balance(opened.cell) not in (first, second)
    assert Balance.objects.filter(cell=opened.cell).count() == 3


def test_what_is_missing_is_named_in_the_refusal():
    cell = Opened().cell
    ask_balance(cell=cell, by=make_user("analyst"))
    work_off()
    run = Run.objects.get(function="findings.balance")
    assert run.state == Run.State.FAILED
    assert "the dry mass of the iron electrode (bench)" in run.error
    assert "phase fractions" not in run.error
    assert "[findings.E001]" in run.error


def test_a_copper_tube_greys_what_rests_on_the_metal():
    balance = make_balance(Balanced(radiation="cu").cell)
    assert "balance.W010" in {flag["code"] for flag in balance.flags}
    assert "copper" in balance_of(balance.cell).greyed[0]


@pytest.mark.parametrize(
    ("preparation", "words"), [("surface", "from the surface"), ("", "not known whether")]
)
def test_powder_that_is_not_the_whole_electrode_greys_the_ledger(preparation, words):
    balance = make_balance(Balanced(preparation=preparation).cell)
    assert words in balance_of(balance.cell).greyed[0]


def test_a_rejected_fit_is_not_used():
    opened = Balanced()
    Review.objects.create(fit=opened.fit, verdict="reject", reason="Wrong sample.", by=make_user("operator"))
    balance = make_balance(opened.cell)
    # what is left is the external fraction of the hydroxide alone
    assert quantity(balance, "metal_share")["first_order"] == 0


def test_a_time_zero_cell_of_the_recipe_tells_the_shares():
    build = make_build()
    facts = {"iron_mass_g": 1.2, "inert_mass_g": 0.048, "build_mass_g": 60.0}
    zero = Balanced(make_cell(build=build, time_zero=True, **facts))
    make_balance(zero.cell)
    balance = make_balance(Balanced(make_cell(build=build, **facts)).cell)
    ledger = balance_of(balance.cell).ledger
    assert ledger["shares_shown"]
    assert all(term["share"] for term in ledger["terms"])


def test_without_one_the_ledger_is_hatched_and_gives_no_share():
    shown = balance_of(make_balance(Balanced().cell).cell)
    assert not shown.ledger["shares_shown"]
    assert [bar.bounds_only for bar in shown.waterfall.bars] == [True, True, False, False, False]


def test_electrodes_dried_in_air_are_flagged():
    opened = Balanced()
    make_entry(opened.dissection, "dry.how", answer=Term.objects.get(key="dry.how.air"))
    flags = {flag["code"]: flag for flag in make_balance(opened.cell).flags}
    assert "the electrode oxidised in air after opening" in flags["balance.W007"]["causes"]


@pytest.mark.parametrize(("answer", "whole"), [("whole", True), ("plate", False), ("piece", False)])
def test_what_was_weighed_is_asked_at_the_bench(answer, whole):
    opened = Balanced()
    assert "weighed" in assumed_of(make_balance(opened.cell))
    make_entry(opened.dissection, "dry.weighed", answer=Term.objects.get(key=f"dry.weighed.{answer}"))
    inputs, taken = inputs_of(opened.cell)
    assert inputs.handling.whole_electrode_weighed is whole
    assert "weighed" not in {each.key for each in taken}


def test_a_state_at_the_bench_that_is_not_the_history_s_is_flagged():
    opened = Balanced()
    Test.objects.filter(cell=opened.cell).update(state_at_stop="discharged")
    for state_at_bench, flagged in (("discharged", False), ("between", False), ("charged", True)):
        answer = Term.objects.get(key=f"electrical.state.{state_at_bench}")
        make_entry(opened.dissection, "electrical.state", answer=answer)
        codes = {flag["code"] for flag in make_balance(opened.cell).flags}
        assert ("balance.W005" in codes) is flagged, state_at_bench


def test_a_balance_is_evidence_that_can_be_pointed_at():
    opened = Balanced()
    balance = make_balance(opened.cell)
    given = [Assigned(mode("unreduced_oxide"), "root", "confirmed", for_=[balance, opened.phase])]
    kept = judge(cell=opened.cell, assigned=given, by=make_user("analyst"))
    assert kept.root.confidence == "confirmed"


def test_who_may_not_have_it_made():
    with pytest.raises(PermissionDenied):
        ask_balance(cell=Balanced().cell, by=make_user("guest"))


def test_the_page_shows_ledger_marks_and_making(client):
    opened = Balanced()
    client.force_login(make_user("analyst"))
    address = reverse("balance", args=[opened.cell.code])
    assert "have not been closed against each other yet" in client.get(address).content.decode()
    client.post(reverse("ask_balance", args=[opened.cell.code]))
    assert "The balance is being made" in client.get(address).content.decode()
    work_off()
    page = client.get(address).content.decode()
    for words in (
        "capacity was lost",
        "iron shed or lost",
        "uncertainties apart",
        "What decides",
        "release",
        "<svg",
    ):
        assert words in page
    client.post(reverse("ask_balance", args=[opened.cell.code]))
    assert "Nothing that the balance rests on has changed" in client.get(address).content.decode()


def test_a_refusal_stands_on_the_page(client):
    cell = Opened().cell
    client.force_login(make_user("analyst"))
    client.post(reverse("ask_balance", args=[cell.code]))
    work_off()
    assert "still needs" in client.get(reverse("balance", args=[cell.code])).content.decode()


def test_the_page_asks_a_fixed_number_of_questions(client, django_assert_max_num_queries):
    cell = make_balance(Balanced().cell).cell
    client.force_login(make_user("analyst"))
    with django_assert_max_num_queries(12):
        client.get(reverse("balance", args=[cell.code]))


def test_days_at_rest_count_from_the_end_of_the_test():
    opened = Balanced()
    assert opened.test.ended_at == NOW - dt.timedelta(hours=9)
    # 9 h at 8 % a day of 0.402 Ah
    balance = make_balance(opened.cell)
    assert quantity(balance, "loss_Ah")["first_order"] == pytest.approx(0.640 - 0.402 * (1 + 0.03), abs=1e-6)

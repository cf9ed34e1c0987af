"""The balance of a cell from the books: made in the worker, refused in words, shown with its making."""

import datetime as dt

import pytest
from django.core.exceptions import PermissionDenied
from django.urls import reverse

from teardown.cells.models import Cell
from teardown.cycling.models import TestSummary
from teardown.diffraction.models import Fit, Pattern, PhaseFraction, Review
from teardown.files.models import Receipt, Run, StoredFile
from teardown.files.tasks import work_off
from teardown.findings.actions import Assigned, ask_balance, judge
from teardown.findings.dossier.balance import balance_of
from teardown.findings.models import Balance
from teardown.imaging.models import SampleMeasure
from tests.findings.findings import Opened, make_entry, make_run, mode
from tests.makers import NOW, make_build, make_cell, make_user

pytestmark = pytest.mark.django_db


class Balanced(Opened):
    """The cell of the worked example, told through the books: weighed, scanned, cycled, photographed."""

    def __init__(
        self, cell: Cell | None = None, *, radiation: str = "co", preparation: str = "ground"
    ) -> None:
        """Write everything that a balance asks for."""
        super().__init__(cell or make_cell(iron_mass_g=1.2, inert_mass_g=0.048, build_mass_g=60.0))
        make_entry(self.dissection, "dry.mass_g", value=1.56, unit="g", value_text="1.560")
        for value in (945.0, 950.0, 955.0):
            make_entry(self.dissection, "iron.thickness_um", value=value, unit="µm", value_text=str(value))
        stored = StoredFile.objects.create(sha256=f"{self.cell.pk:064d}", bytes=1, kind="xy")
        pattern = Pattern.objects.create(
            sample=self.sample,
            receipt=Receipt.objects.create(file=stored, name="scan.xy"),
            radiation=radiation,
            preparation=preparation,
        )
        self.fit = Fit.objects.create(
            pattern=pattern, run=make_run("diffraction.fit", f"diffraction.pattern:{pattern.pk}")
        )
        shares = {"iron": 0.30, "iron-hydroxide": 0.25, "magnetite": 0.43, "potassium-carbonate": 0.02}
        for phase, share in shares.items():
            PhaseFraction.objects.create(fit=self.fit, phase=phase, weight_fraction=share, u=0.012)
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
            net_u_Ah=0.23,
            metrics={"self_discharge_per_day": 0.08},
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


def test_what_was_assumed_is_said():
    assumed = {row["words"] for row in make_balance(Balanced().cell).rows if row["kind"] == "assumed"}
    assert any("99.5 % pure" in words for words in assumed)
    assert any("no internal standard" in words for words in assumed)
    assert not any("self-discharge" in words for words in assumed)


def test_nothing_is_computed_again_while_nothing_changed():
    opened = Balanced()
    first = make_balance(opened.cell)
    assert make_balance(opened.cell) == first
    assert Balance.objects.count() == 1
    make_entry(opened.dissection, "dry.mass_g", value=1.50, unit="g", value_text="1.500")
    assert make_balance(opened.cell) != first
    assert Balance.objects.count() == 2


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
    from teardown.vocabulary.models import Term

    opened = Balanced()
    make_entry(opened.dissection, "dry.how", answer=Term.objects.get(key="dry.how.air"))
    flags = {flag["code"]: flag for flag in make_balance(opened.cell).flags}
    assert "the electrode oxidised in air after opening" in flags["balance.W007"]["causes"]


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

"""The number field in a form."""

import pytest
from django import forms

from teardown.page.fields import NumberField


class Weighing(forms.Form):
    mass = NumberField(label="Iron mass", unit="g", above=0)
    strength = NumberField(unit="mol/L", low=0, high=18, required=False)
    cycles = NumberField(whole=True, required=False)


def errors(**typed: str) -> dict[str, list[str]]:
    return dict(Weighing({"mass": "1", **typed}).errors)


def test_a_comma_is_a_decimal_sign_and_the_text_is_kept() -> None:
    form = Weighing({"mass": "1,1880"})
    assert form.is_valid()
    assert form.cleaned_data["mass"] == 1.188
    assert form.cleaned_data["mass"].text == "1,1880"
    assert form.cleaned_data["strength"] is None


def test_what_was_typed_stays_in_the_box_after_a_refusal() -> None:
    assert 'value="1.2.3"' in str(Weighing({"mass": "1.2.3"})["mass"])


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        ({"mass": "0"}, "Enter a number above 0 g. This was 0 g."),
        ({"mass": ""}, "This field is required."),
        ({"strength": "19"}, "Enter a number of at least 0 and at most 18 mol/L. This was 19 mol/L."),
        ({"cycles": "1,5"}, "Enter a whole number; this was 1,5."),
    ],
)
def test_a_number_out_of_range_is_refused_with_the_range(typed: dict[str, str], sentence: str) -> None:
    assert [sentence] in errors(**typed).values()


def test_the_same_number_typed_otherwise_is_no_change() -> None:
    assert not Weighing({"mass": "0,50"}, initial={"mass": 0.5}).changed_data
    assert Weighing({"mass": "0,51"}, initial={"mass": 0.5}).changed_data == ["mass"]


def test_a_stored_number_is_shown_without_a_tail() -> None:
    assert 'value="6"' in str(Weighing(initial={"mass": 6.0})["mass"])


def test_the_form_draws_unit_label_and_error_where_they_belong() -> None:
    html = str(Weighing({"mass": "x"}))
    assert '<span class="unit">g</span>' in html
    assert '<label for="id_mass">Iron mass' in html
    assert 'id="id_mass_error"' in html
    assert 'aria-invalid="true"' in html
    assert 'inputmode="decimal"' in html
    assert "style=" not in html

"""Wrong PINs are counted in the database: whichever process is asked, five are five."""

import datetime as dt

import pytest

from teardown.accounts.actions import DoorShut, WrongPin, know_by_pin, set_pin
from teardown.accounts.models import PinTry
from tests.makers import NOW, make_user

pytestmark = pytest.mark.django_db


@pytest.fixture
def hands():
    user = make_user("bench", username="hands")
    set_pin(user=user, pin="4711")
    return user


def wrong(times, at=NOW, username="hands"):
    said = []
    for _ in range(times):
        with pytest.raises((WrongPin, DoorShut)) as refused:
            know_by_pin(username=username, pin="0000", at=at)
        said.append(refused.type)
    return said


def test_the_right_pin_gives_the_person(hands):
    assert know_by_pin(username="hands", pin="4711", at=NOW) == hands


def test_the_fifth_wrong_one_shuts_the_door_even_for_the_right_one(hands):
    assert wrong(5) == [WrongPin] * 4 + [DoorShut]
    with pytest.raises(DoorShut, match="for another 10 minutes"):
        know_by_pin(username="hands", pin="4711", at=NOW + dt.timedelta(minutes=5))


def test_the_door_opens_a_quarter_of_an_hour_later_and_asking_does_not_keep_it_shut(hands):
    wrong(5)
    assert wrong(3, NOW + dt.timedelta(minutes=14)) == [DoorShut] * 3
    assert know_by_pin(username="hands", pin="4711", at=NOW + dt.timedelta(minutes=16)) == hands


def test_a_right_one_forgives_the_wrong_ones_before_it(hands):
    wrong(4)
    know_by_pin(username="hands", pin="4711", at=NOW)
    assert wrong(4) == [WrongPin] * 4


def test_another_name_is_not_shut_out(hands):
    other = make_user("bench", username="second")
    set_pin(user=other, pin="2468")
    wrong(6)
    assert know_by_pin(username="second", pin="2468", at=NOW) == other


def test_a_name_that_nobody_has_is_answered_alike_and_not_written_down(hands):
    assert wrong(5, username="nobody") == [WrongPin] * 4 + [DoorShut]
    assert PinTry.objects.filter(name_sha256="nobody").count() == 0
    assert {len(row.name_sha256) for row in PinTry.objects.all()} == {64}


def test_who_left_or_has_no_pin_does_not_get_in(hands):
    assert wrong(1, username=make_user("bench", username="pinless").username) == [WrongPin]
    hands.is_active = False
    hands.save()
    with pytest.raises(WrongPin):
        know_by_pin(username="hands", pin="4711", at=NOW)

"""The order of opening: what keeps badly first, then recipes in balance; the same whenever asked."""

from teardown.science.reliability.bench_order import Waiting, order


def cells(**counts: int) -> list[Waiting]:
    return [Waiting(f"{recipe}-{i}", recipe, float(i)) for recipe, n in counts.items() for i in range(n)]


def test_the_recipe_opened_least_comes_next():
    places = order(cells(A=2, B=2), {"A": 3, "B": 1})
    assert [place.cell.recipe for place in places] == ["B", "B", "A", "A"]
    assert [place.opened for place in places] == [1, 2, 3, 4]


def test_even_recipes_take_turns():
    recipes = [place.cell.recipe for place in order(cells(A=3, B=3, C=3), {})]
    assert all(set(recipes[i : i + 3]) == {"A", "B", "C"} for i in (0, 3, 6))


def test_what_keeps_badly_comes_first_and_counts():
    waiting = [*cells(A=2, B=2), Waiting("A-9", "A", 1.0, "leaks"), Waiting("A-8", "A", 5.0, "leaks")]
    places = order(waiting, {})
    assert [place.cell.code for place in places[:2]] == ["A-8", "A-9"]
    assert not places[0].drawn
    assert all(place.drawn for place in places[2:])
    assert [place.cell.recipe for place in places[2:]] == ["B", "B", "A", "A"]


def test_every_cell_has_one_place_whatever_the_order_of_asking():
    waiting = cells(A=5, B=2, C=7)
    one, other = order(waiting, {"C": 2}), order(waiting[::-1], {"C": 2})
    assert one == other
    assert sorted(place.cell.code for place in one) == sorted(cell.code for cell in waiting)
    assert [place.number for place in one] == list(range(1, 15))


def test_nothing_waits():
    assert order([], {"A": 1}) == ()

"""The invented laboratory holds a truth that can be found, and is the same for the same seed."""

import datetime as dt
from collections import Counter

import pytest

from teardown.site.demo import compositions, fields, openings, photographs, traces
from teardown.site.demo.lives import (
    CHAMBERS,
    END_OF,
    FORMATION,
    FORMULAS,
    PLACES,
    TIME_ZERO,
    Story,
    invent,
)

NOW = dt.datetime(2031, 3, 4, 14, tzinfo=dt.UTC)


@pytest.fixture(scope="module")
def many() -> list[Story]:
    return invent(3000, now=NOW, seed=1)


def share(stories: list[Story], root: str) -> float:
    """Give the share of stories that a mode ends."""
    return sum(story.root == root for story in stories) / len(stories)


def test_the_same_seed_gives_the_same_laboratory() -> None:
    assert invent(30, now=NOW, seed=3) == invent(30, now=NOW, seed=3)
    assert invent(30, now=NOW, seed=3) != invent(30, now=NOW, seed=4)
    story = invent(30, now=NOW, seed=3)[0]
    field = fields.fields_of(story, "M2", 1)[0]
    assert fields.draw(field) == fields.draw(field)
    shot = openings.shots_of(story)[1]
    assert photographs.draw(shot) == photographs.draw(shot)


@pytest.mark.parametrize(
    ("root", "more", "less"),
    [
        ("passivation", lambda s: s.formula.share == 0, lambda s: s.formula.code == "R03"),
        ("pore_closure", lambda s: s.chamber == "C3", lambda s: s.chamber == "C1"),
        ("additive_depletion", lambda s: s.formula.code == "R02", lambda s: s.formula.code == "R04"),
        ("shedding", lambda s: s.formula.code == "R05", lambda s: s.formula.code == "R09"),
        ("carbonate_blocking", lambda s: s.chamber == "C4", lambda s: s.chamber == "C2"),
        ("carbon_corrosion", lambda s: s.formula.code == "R08", lambda s: s.formula.code == "R03"),
        ("hydrogen", lambda s: s.formula.code == "R06", lambda s: s.formula.code == "R03"),
    ],
)
def test_modes_depend_on_recipe_and_chamber(many: list[Story], root: str, more, less) -> None:
    ended = [story for story in many if story.started]
    often = share([story for story in ended if more(story)], root)
    rarely = share([story for story in ended if less(story)], root)
    assert often > 1.4 * rarely + 0.01


def test_a_laboratory_of_120_has_something_of_everything() -> None:
    stories = invent(120, now=NOW, seed=3)
    stages = Counter(story.stage for story in stories)
    assert set(stages) == {"built", "on test", "ended", "opened", "sampled", "measured", "judged", "closed"}
    assert len({story.formula.code for story in stories}) >= 8
    assert {story.regime.discharge_h for story in stories} == {6.2, 20.0, 40.0}
    assert len({story.end for story in stories} - {""}) >= 5
    assert any(story.censored and story.ended for story in stories)
    assert max(story.cycles for story in stories) <= 420
    assert {story.code for story in stories} == {f"SP-{401 + number:04}" for number in range(120)}


def test_of_some_recipes_one_cell_is_opened_right_after_formation() -> None:
    zeros = [story for story in invent(120, now=NOW, seed=3) if story.time_zero]
    assert {story.formula.code for story in zeros} == set(TIME_ZERO)
    assert len(zeros) == len(TIME_ZERO)
    assert all(story.cycles == FORMATION and story.end == "planned" and story.opened for story in zeros)


def test_time_runs_forward_and_no_chamber_overflows(many: list[Story]) -> None:
    stories = invent(120, now=NOW, seed=3)
    for story in stories:
        times = [t for t in (story.started, story.ended, story.opened) if t]
        assert times == sorted(times)
        assert all(time <= NOW for time in times)
        assert story.started is None or story.started.date() >= story.built_on
    for chamber in CHAMBERS:
        moves = [(s.started, 1) for s in stories if s.chamber == chamber and s.started]
        moves += [(s.ended, -1) for s in stories if s.chamber == chamber and s.ended]
        seated = peak = 0
        for _, step in sorted(moves):
            seated += step
            peak = max(peak, seated)
        assert peak <= PLACES


def test_what_a_mode_leaves_is_there_to_be_seen(many: list[Story]) -> None:
    assert set(END_OF) >= set(traces.MARKS)
    shed = next(story for story in many if story.root == "shedding" and not story.censored)
    assert traces.seen_of(shed)["iron.shed"] == ("iron.shed", "present", "some")
    assert traces.traces_of(shed).sediment_mg > 50


def test_phases_add_up(many: list[Story]) -> None:
    for story in many[:200]:
        phases = compositions.composition(story)
        assert sum(phases.values()) == pytest.approx(1)
        assert min(phases.values()) >= 0


def test_every_formula_is_another() -> None:
    assert len({(f.iron, f.additive, f.share, f.KOH_mol_L, f.air_electrode) for f in FORMULAS}) == len(
        FORMULAS
    )

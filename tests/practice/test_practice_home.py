"""The practice home: its truth is the field's, its scores are those of the best there is."""

from __future__ import annotations

from itertools import permutations

import numpy as np
import pytest

from roomfield.demo.practice_home import RATE_HZ, practice_home
from roomfield.errors import InputError, RangeError, UnknownNameError
from roomfield.workbench.practice.practice_scan import PracticeMoves, PracticeScan, practice_sheet


@pytest.fixture(scope="module")
def home():
    return practice_home(7)


def test_a_seed_gives_one_home_and_another_seed_another():
    assert practice_home(7) == practice_home(7)
    assert practice_home(7) != practice_home(8)
    sheet = practice_sheet(7)
    assert not {"mean_w_m2", "truth"} & set(vars(sheet))


@pytest.mark.calculated("no antenna of one axis anywhere in the cube shows more than the largest eigenvalue found")
def test_no_scan_finds_more_than_the_largest_there_is(home):
    rng = np.random.default_rng(0)
    places = rng.uniform(-0.25, 0.25, (20_000, 3))
    axes = rng.normal(size=(20_000, 3))
    rare = tuple(source.name for source in home.sources if source.presence == "telegrams")
    shown = home.power_w_m2("Bed", places, axes, 0, rare)
    largest = home.largest_w_m2("Bed")
    assert shown.max() <= largest * 1.02
    assert shown.max() > 0.3 * largest


@pytest.mark.published(
    "figure-of-eight antenna: what it shows falls with the square of the cosine (Malus 1809; from memory)"
)
def test_an_axis_across_the_field_of_one_wave_shows_nothing(home):
    axes = np.array([[1.0, 0, 0], [0, 1.0, 0], [0, 0, 1.0]])
    off = tuple(source.name for source in home.sources if source.name != "Baby monitor")
    three = home.power_w_m2("Cot", np.zeros((3, 3)), axes, 0, off)
    turned = home.power_w_m2("Cot", np.zeros((500, 3)), np.random.default_rng(1).normal(size=(500, 3)), 0, off)
    assert turned.max() <= three.sum() * 1.001
    assert turned.min() < 0.01 * turned.max()


@pytest.mark.calculated("every order is tried")
def test_the_best_order_is_the_best_of_all(home):
    own = [source.name for source in home.sources if source.own]
    scores = {order: home.score_order("Cot", order).missed_db for order in permutations(own)}
    best = min(scores, key=lambda order: scores[order])
    assert scores[best] == pytest.approx(0.0, abs=1e-9)
    assert home.score_order("Cot", best).points == 100
    assert max(scores.values()) > 0.5


def test_the_best_plan_scores_all_points_and_others_less(home):
    own = [source.name for source in home.sources if source.own]
    points = [home.score_plan((name,)).points for name in own]
    assert max(points) == 100 and min(points) < 100


def test_a_slow_scan_that_turns_beats_a_glance():
    rng = np.random.default_rng(3)
    scores = []
    for seconds in (0.5, 40.0):
        scan = PracticeScan(practice_home(11), "Bed", ())
        count = int(seconds * RATE_HZ)
        way = np.column_stack([np.interp(np.arange(count), np.arange(0, count + 40, 40), rng.uniform(-0.25, 0.25, len(range(0, count + 40, 40)))) for _ in range(3)])  # fmt: skip
        turn = np.arange(count) / RATE_HZ * 1.6
        axis = np.column_stack([np.sin(turn) * np.cos(0.37 * turn), np.sin(turn) * np.sin(0.37 * turn), np.cos(turn)])
        for first in range(0, count, 50):
            rows = np.column_stack([way, axis])[first : first + 50]
            shown = scan.move(PracticeMoves(tuple(tuple(row) for row in rows)))
        assert shown.held >= shown.peak >= shown.average
        assert len(shown.loudness) == len(rows) and 0 <= min(shown.loudness) <= max(shown.loudness) <= 1
        scores.append(scan.score())
    assert scores[1].points > scores[0].points
    assert scores[1].missed_db < 6.0


def test_what_cannot_be_is_refused(home):
    with pytest.raises(RangeError, match="seed"):
        practice_home(-1)
    with pytest.raises(UnknownNameError, match="place"):
        home.largest_w_m2("Attic")
    with pytest.raises(InputError, match="each transmitter"):
        home.score_order("Bed", ("Router",))
    with pytest.raises(InputError, match="not the household's"):
        home.score_plan(("Mast on the hill",))
    with pytest.raises(InputError, match="do not fit"):
        home.power_w_m2("Bed", np.zeros((2, 3)), np.zeros((2, 3)), 0)
    with pytest.raises(InputError, match="nothing was scanned"):
        PracticeScan(home, "Bed", ()).score()

"""Groups by time, photos that follow a card, and photos that look the same."""

import io
from datetime import UTC, datetime, timedelta
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image, ImageFilter

from flockcare.photos.grouping import (
    GAP,
    MOST_BITS,
    SHARPER,
    Copy,
    Shot,
    best_of,
    cards_and_followers,
    distances,
    into_groups,
    sets_alike,
)
from flockcare.photos.intake import take_in
from flockcare.photos.sharpness import SIDE, sharpness
from tests.photos.scenes import painted_foot

START = datetime(2023, 5, 14, 17, tzinfo=UTC)
MINUTE = timedelta(minutes=1)


def shot(key, minutes=None, **said):
    said = {"kind": "moment", "exact": True} | said
    taken = None if minutes is None else START + minutes * MINUTE
    return Shot(key, taken=taken, **said)


def keys(groups):
    return [[one.key for one in group.shots] for group in groups]


# --- Groups


def test_photos_close_in_time_stand_together():
    shots = [shot("c", 31), shot("a", 0), shot("b", 15), shot("d", 47)]
    assert keys(into_groups(shots)) == [["a", "b"], ["c"], ["d"]]


def test_a_run_may_be_longer_than_the_gap():
    assert len(into_groups([shot(n, 10 * n) for n in range(20)])) == 1


def test_photos_known_to_the_day_stand_by_the_day():
    day = {"kind": "day", "exact": False}
    shots = [shot(1, 0, place=2, **day), shot(2, 0, place=1, **day), shot(3, 1440, **day)]
    assert keys(into_groups(shots)) == [[2, 1], [3]]


def test_kinds_are_not_mixed_and_the_undated_come_last_in_the_order_of_the_files():
    shots = [
        shot("late", None, kind="unknown", exact=False, place=9),
        shot("early", None, kind="unknown", exact=False, place=3),
        shot("sure", 0),
        shot("doubtful", 0, kind="moment, doubtful"),
    ]
    assert keys(into_groups(shots)) == [["sure"], ["doubtful"], ["early", "late"]]


@given(st.lists(st.integers(0, 5000), max_size=60), st.integers(1, 300))
def test_groups_are_the_runs_between_gaps(minutes, gap):
    """Against the definition: within a group no step is longer than the gap, between two
    neighbouring groups it is."""
    shots = [shot(n, minute, place=n) for n, minute in enumerate(minutes)]
    groups = into_groups(shots, gap=gap * MINUTE)
    flat = [one for group in groups for one in group.shots]
    assert sorted(one.key for one in flat) == list(range(len(minutes)))
    assert [one.taken for one in flat] == sorted(one.taken for one in flat)
    times = [np.array([one.taken.timestamp() / 60 for one in group.shots]) for group in groups]
    assert all((np.diff(inside) <= gap).all() for inside in times)
    assert all(after[0] - before[-1] > gap for before, after in pairwise(times))


@given(st.permutations(range(12)))
def test_the_order_in_which_they_come_does_not_matter(order):
    shots = [shot(n, (n // 3) * 40 + n % 3, place=n) for n in order]
    assert keys(into_groups(shots)) == [[0, 1, 2], [3, 4, 5], [6, 7, 8], [9, 10, 11]]


def test_the_gap_is_the_one_the_page_names():
    assert timedelta(minutes=15) == GAP


# --- Cards


def followers(shots):
    return {one.card.key: [s.key for s in one.shots] for one in cards_and_followers(shots)}


def test_a_card_names_what_follows_until_the_next_card():
    shots = [
        shot("before", 0),
        shot("card 1", 1, names="Dill", open=False),
        shot("a", 2),
        shot("b", 3),
        shot("card 2", 4, names="Mace", open=False),
        shot("c", 5),
    ]
    assert followers(shots) == {"card 1": ["a", "b"], "card 2": ["c"]}


def test_a_card_leaves_alone_what_somebody_named():
    shots = [shot("card", 0, names="Dill", open=False), shot("a", 1, open=False), shot("b", 2)]
    assert followers(shots) == {"card": ["b"]}


def test_a_card_with_nothing_after_it_asks_nothing():
    assert followers([shot("a", 0), shot("card", 1, names="Dill", open=False)]) == {}


# --- Looks

BITS = st.integers(-(2**63), 2**63 - 1)


@given(st.lists(BITS, min_size=1, max_size=8), st.lists(BITS, min_size=1, max_size=8))
def test_distance_is_the_number_of_differing_bits(some, others):
    """Against Python's own int.bit_count over the unsigned values."""
    expected = [[((a ^ b) & (2**64 - 1)).bit_count() for b in others] for a in some]
    assert distances(some, others).tolist() == expected


@given(st.dictionaries(st.integers(0, 50), st.integers(0, 255), max_size=25))
def test_sets_are_the_connected_parts(looks):
    """Against a plain walk from photo to photo."""
    left, expected = set(looks), []
    while left:
        found, border = set(), {left.pop()}
        while border:
            found |= border
            border = {
                other
                for other in left
                if any((looks[other] ^ looks[one]).bit_count() <= 1 for one in border)
            }
            left -= border
        if len(found) > 1:
            expected.append(found)
    sets = sets_alike(looks, among=looks, most_bits=1)
    assert sorted(map(sorted, sets)) == sorted(map(sorted, expected))


def test_only_photos_in_question_bring_a_set_about():
    looks = {"new": 0b1, "sorted": 0b0, "old": 0xFF << 20, "older": 0xFF << 20}
    assert sets_alike({"new": 0b1}, among=looks) == [["new", "sorted"]]


def compressed(picture, side, quality):
    out = io.BytesIO()
    copy = picture.copy()
    copy.thumbnail((side, side))
    copy.save(out, "JPEG", quality=quality)
    return take_in(out, "foot.jpg").perceptual_hash - (1 << 63)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_messengers_copy_looks_the_same_and_another_foot_does_not(seed):
    picture, *_ = painted_foot(seed)
    other, *_ = painted_foot(seed + 100)
    first, copy = compressed(picture, 1600, 92), compressed(picture, 1280, 60)
    assert distances([first], [copy])[0, 0] <= MOST_BITS
    assert distances([first], [compressed(other, 1600, 92)])[0, 0] > MOST_BITS


# --- Which copy to keep

PLAIN = {"on_record": False, "card": False, "sharpness": 100.0, "pixels": 1_000_000}


@pytest.mark.parametrize(
    ("first", "other", "why"),
    [
        ({}, {"on_record": True, "sharpness": 10.0, "pixels": 1}, "has records already"),
        ({"sharpness": 900.0}, {"card": True}, "has the card"),
        ({"pixels": 9_000_000}, {"sharpness": 251.0}, "sharper"),
        ({}, {"pixels": 1_110_000}, "larger"),
        (
            {},
            {"card": True, "sharpness": 300.0, "pixels": 2_000_000},
            "has the card, sharper, larger",
        ),
        ({"sharpness": None}, {"sharpness": 5.0}, "sharper"),
    ],
)
def test_the_better_copy_is_kept_and_says_why(first, other, why):
    one, two = Copy("one", **PLAIN | first), Copy("two", **PLAIN | other)
    assert best_of([one, two]) == best_of([two, one]) == (two, why)


def test_of_copies_that_do_not_differ_the_first_is_kept():
    almost = {"sharpness": 249.0, "pixels": 1_090_000}
    copies = [Copy("one", **PLAIN), Copy("two", **PLAIN | almost)]
    assert best_of(copies) == (copies[0], "")


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_blurred_copy_is_told_and_a_messengers_is_not(seed):
    picture, *_ = painted_foot(seed)
    blurred = picture.filter(ImageFilter.GaussianBlur(2))
    assert sharpness(picture, SIDE) > SHARPER * sharpness(blurred, SIDE)
    sent = io.BytesIO()
    picture.resize((1280, 960), Image.Resampling.LANCZOS).save(sent, "JPEG", quality=60)
    ratio = sharpness(picture, SIDE) / sharpness(Image.open(sent), SIDE)
    assert 1 / SHARPER < ratio < SHARPER

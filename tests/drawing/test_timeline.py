"""One model of a timeline, on the screen and on paper, by hand-worked days."""

import datetime as dt
import re

import pytest

from flockcare.drawing.timeline import (
    Band,
    Bar,
    Mark,
    Stretch,
    Timeline,
    Window,
    Zoom,
    names_with_room,
    usual_gap,
    with_room,
)
from flockcare.drawing.timeline_paper import GUTTER, Box, Disc, lay_out
from flockcare.drawing.timeline_svg import draw

NOON = dt.time(12, tzinfo=dt.UTC)
WINDOW = Window(dt.date(2026, 4, 1), dt.date(2026, 4, 30), dt.UTC)


def noon(day: int) -> dt.datetime:
    return dt.datetime.combine(dt.date(2026, 4, day), NOON)


def scored(day: int, score: int) -> Mark:
    return Mark(noon(day), "left", f"score-{score}", "x", f"/{day}", short=str(score), value=score)


def bar(first=None, last=None, before=None, after=None) -> Bar:
    def on(day):
        return day and dt.date(2026, 4, 1) + dt.timedelta(day - 1)

    return Bar("left", first or noon(10), last or noon(20), on(before), on(after), 2, "a case")


class TestExtent:
    """Thirty days, so that noon of the tenth lies at 9.5 / 30."""

    def test_between_two_clear_checks(self):
        extent = Timeline(WINDOW).extent(bar(before=7, after=25))
        assert extent.began == pytest.approx((6.5 / 30, 9.5 / 30))
        assert extent.seen == pytest.approx((9.5 / 30, 19.5 / 30))
        assert extent.healed == pytest.approx((19.5 / 30, 24.5 / 30))
        assert extent.open is None

    def test_not_seen_clear_before_or_since(self):
        extent = Timeline(WINDOW).extent(bar())
        assert (extent.began, extent.healed) == (None, None)
        assert extent.open == pytest.approx(19.5 / 30)

    def test_only_what_reaches_into_the_window_is_there(self):
        march = dt.datetime(2026, 3, 10, 12, tzinfo=dt.UTC)
        extent = Timeline(WINDOW).extent(bar(first=march, last=march, before=-30, after=4))
        assert (extent.began, extent.seen) == (None, None)
        assert extent.healed == pytest.approx((0, 3.5 / 30))


def test_the_screen_and_the_paper_put_things_at_the_same_shares():
    shown = Timeline(
        WINDOW,
        [scored(10, 1), scored(15, 2), scored(28, 0)],
        [Band(None, dt.date(2026, 4, 12), "lived in Barn", "Barn")],
        [bar(before=7, after=25)],
    )
    stretch = Stretch(Zoom.MONTH, WINDOW)
    svg = draw(shown, stretch, page="/bird/", title="Timeline")
    width = 500.0
    shapes = lay_out(shown, width).shapes

    def on_paper(x: float) -> float:
        return 100 * (x - GUTTER) / (width - 4 - GUTTER)

    marks = [float(x) for x in re.findall(r'<use href="#tl-score-\d" x="([\d.]+)%"', svg)]
    discs = [on_paper(shape.x) for shape in shapes if isinstance(shape, Disc)]
    assert sorted(discs) == pytest.approx(sorted(marks), abs=0.01)
    assert sorted(marks) == pytest.approx([100 * day / 30 for day in (9.5, 14.5, 27.5)], abs=0.01)

    (lead,) = re.findall(r'lead-in" x="([\d.]+)%" width="([\d.]+)%"', svg)
    boxes = [shape for shape in shapes if isinstance(shape, Box) and shape.dash]
    assert [on_paper(boxes[0].x), on_paper(boxes[0].x + boxes[0].width)] == pytest.approx(
        [float(lead[0]), float(lead[0]) + float(lead[1])], abs=0.02
    )


def test_the_usual_gap_is_that_of_the_middle_neighbours():
    places = [Timeline(WINDOW).place(scored(day, 0)) for day in (1, 2, 4, 30)]
    assert usual_gap(places) == pytest.approx(2 / 30)
    assert usual_gap(places[:1]) == 1


def test_the_worst_score_is_written_where_not_all_have_room():
    places = [Timeline(WINDOW).place(scored(day, score)) for day, score in ((9, 1), (10, 2))]
    assert [placed.mark.value for placed in with_room(places, 2 / 30)] == [2]
    assert len(with_room(places, 0.9 / 30)) == 2


def test_the_newest_weight_is_named_and_those_before_it_that_have_room():
    weights = [Mark(noon(day), "weight", "weight", short="2.5 kg") for day in (2, 28, 30)]
    places = [Timeline(WINDOW).place(mark) for mark in weights]
    named = names_with_room(places, lambda words: 0.1, gap=0.01)
    assert [placed.mark.at.day for placed, _ in named] == [30, 2]
    # Whole within the drawing.
    assert named[0][1] == pytest.approx(0.95)
    assert named[1][1] == pytest.approx(0.05)

"""The drawing of a house: well-formed, to scale, and with letters that cover no others."""

import datetime as dt
import math
import re
import xml.etree.ElementTree as ET
from itertools import combinations
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from flockcare.housing.elevation import (
    BROAD,
    HALF,
    IN_SIGHT,
    NARROW,
    Picture,
    draw,
    hardest_words,
    row_ids,
    short_length,
    small,
)
from flockcare.housing.elevation.shell import beds, hen_cm
from flockcare.housing.flags import findings, flags_of
from flockcare.housing.layout import Layout, Place
from flockcare.housing.shapes import SHAPES
from flockcare.housing.units import length_text, read_length
from tests.analysis.properties import examples

quick = examples(30)
SVG = "{http://www.w3.org/2000/svg}"


def house(*places, **more):
    return Layout("Shed", dt.date(2026, 5, 1), tuple(places), **more)


# Nobody wrote down where these stand, only how far the next place down is.
CHAIN = house(
    Place("Top", "roost", 130, 55, width_mm=45, edge="square"),
    Place("Low", "roost", 70, 80, width_mm=70, edge="round"),
    Place("Nest", "nest front", 55, 30),
    Place("Yard", "landing", bedding="wood chip", bedding_depth_cm=12, damp="damp"),
)
PLACED = house(
    Place("Top", "roost", 100, along_cm=40),
    Place("Ramp", "ramp", 60, run_cm=90, along_cm=180),
    Place("Low", "roost", 60, along_cm=110),
    Place("Floor", "floor", bedding="straw", bedding_depth_cm=10),
    length_cm=260.0,
    wall_cm=180.0,
)


def picture(layout, units="metric", size=NARROW, **more):
    found = findings(flags_of(layout))
    return Picture(layout, found, units=units, page="", size=size, hen_kg=more.get("kg", 2.0))


def drawn(layout, units="metric", page="", **more):
    svg = draw(layout, findings(flags_of(layout)), units=units, title="Shed", page=page, **more)
    return ET.fromstring(svg)  # noqa: S314 - our own


def of(svg, tag, kind):
    return [node for node in svg.iter(f"{SVG}{tag}") if kind in node.get("class", "").split()]


def numbers(node, *names):
    return [float(node.get(name)) for name in names]


def texts(svg):
    return ["".join(node.itertext()) for node in svg.iter(f"{SVG}text")]


def curves(svg):
    """Where each landing begins and ends: M x y Q … x y."""
    found = []
    for node in of(svg, "path", "arc"):
        values = [float(value) for value in re.findall(r"-?[\d.]+", node.get("d"))]
        found.append((values[0], values[1], values[2], values[3], *values[4:]))
    return found


def per_cm(svg):
    """Pixels of a centimetre by the bar of the scale alone."""
    left, right = sorted(numbers(of(svg, "line", "scale")[0], "x1", "x2"))
    (words,) = [text for text in texts(svg) if "up and across" in text]
    return (right - left) / float(words.split()[0])


def test_heights_and_level_distances_are_to_the_scale_that_is_drawn():
    """By the chain: 55, 80 and 30 cm one after the other, 60, 15 and 55 cm down."""
    svg = drawn(CHAIN)
    scale = per_cm(svg)
    found = sorted(((x1 - x0) / scale, (y1 - y0) / scale) for x0, y0, _, _, x1, y1 in curves(svg))
    assert [across for across, _ in found] == pytest.approx([30, 55, 80], abs=0.15)
    assert [down for _, down in found] == pytest.approx([55, 60, 15], abs=0.15)


def test_what_is_placed_stands_where_it_was_placed():
    svg = drawn(PLACED, size=BROAD)
    scale = per_cm(svg)
    (inside,) = of(svg, "rect", "inside")
    wall, roof, wide, high = numbers(inside, "x", "y", "width", "height")
    assert (wide / scale, high / scale) == pytest.approx((260, 180), abs=0.1)
    bars = sorted(numbers(bar, "x", "y", "width") for bar in of(svg, "rect", "bar"))
    middles = [((x + width / 2 - wall) / scale, (roof + high - y) / scale) for x, y, width in bars]
    assert middles == [pytest.approx((40, 100), abs=0.1), pytest.approx((110, 60), abs=0.1)]
    (plank,) = of(svg, "line", "plank")
    x1, y1, x2, y2 = numbers(plank, "x1", "y1", "x2", "y2")
    # Middle at 180, 90 level: head at 135, foot at 225; its slope is that of 60 over 90.
    assert [(x1 - wall) / scale, (x2 - wall) / scale] == pytest.approx([135, 225], abs=0.1)
    assert (y2 - y1) / (x2 - x1) == pytest.approx(60 / 90, rel=0.001)


def test_a_landing_is_the_curve_of_a_level_take_off():
    """x = v t and y = g t²/2 give y = h (x/r)², which is the Bézier with its handle above half the
    way at the height of the take-off: at half the way she has fallen a quarter."""
    (x0, y0, handle, level, x1, y1) = curves(drawn(house(Place("Bar", "roost", 60, 75))))[0]
    assert (handle, level) == (pytest.approx((x0 + x1) / 2, abs=0.1), y0)
    t = 0.5
    y = (1 - t) ** 2 * y0 + 2 * t * (1 - t) * level + t**2 * y1
    assert y - y0 == pytest.approx((y1 - y0) / 4)
    assert (y1 - y0) / (x1 - x0) == pytest.approx(60 / 75, rel=0.002)


def test_a_landing_begins_at_the_edge_of_what_is_broad():
    """A board of 80 at 100: its edge at 140, and 50 farther on she lands at 190."""
    board = Place("Board", "droppings board", 45, 50, along_cm=100, breadth_cm=80)
    svg = drawn(house(board, length_cm=300.0))
    ((x0, _, _, _, x1, _),) = curves(svg)
    (inside,) = of(svg, "rect", "inside")
    wall, scale = float(inside.get("x")), float(svg.get("data-scale"))
    assert [(x - wall) / scale for x in (x0, x1)] == pytest.approx([140, 190], abs=0.3)


def test_the_worst_landing_is_named_and_drawn_as_such():
    """atan(60/55) = 47.5° by hand; 55 cm from the nest is less."""
    svg = drawn(CHAIN)
    assert len(of(svg, "path", "worst")) == 1
    assert " ".join(texts(svg)).count("60 cm, 47°") == 1, "beside its curve, and not again below"
    assert hardest_words(CHAIN, "metric") == "Top to Low, 60 cm, 47°"
    assert hardest_words(house(), "metric") == ""
    assert not of(drawn(house()), "path", "arc")


def test_a_thing_with_a_line_in_the_key_is_one_stop_of_the_tab_key():
    svg = drawn(CHAIN, size=NARROW)
    links = list(svg.iter(f"{SVG}a"))
    stops = [link for link in links if link.get("tabindex") is None]
    to_things = [link.get("href") for link in stops if link.get("class") == "thing"]
    assert len(links) > len(stops) == len({link.get("href") for link in links})
    assert len(to_things) == 3, "the ground has a line of its own alone"


def test_a_square_bar_is_square_and_a_round_one_round():
    svg = drawn(CHAIN)
    assert len(of(svg, "circle", "bar")) == 1
    square = [bar for bar in of(svg, "rect", "bar") if "front" not in bar.get("class")]
    assert [bar.get("rx") for bar in square] == [None]
    assert drawn(PLACED).find(f".//{SVG}rect[@rx]") is not None


def test_the_hen_is_of_the_flocks_own_size():
    """Twice as long is eight times as heavy; 40 cm for 2 kg: common practice, no source."""
    assert hen_cm(2) == 40
    assert hen_cm(16) == pytest.approx(80)
    sizes = [
        float(
            re.search(
                r"scale\(([\d.]+)", of(drawn(PLACED, hen_kg=kg), "g", "hen")[0].get("transform")
            ).group(1)
        )
        for kg in (0.5, 4.0)
    ]
    assert sizes[1] / sizes[0] == pytest.approx(2, rel=0.02)


def test_the_ground_is_said_with_its_bedding():
    assert "Yard: wood chip 12 cm, damp" in texts(drawn(CHAIN))
    assert any("bedding not recorded" in text for text in texts(drawn(house(CHAIN.places[0]))))


def test_inches_where_the_flock_uses_them():
    written = " ".join(texts(drawn(CHAIN, "imperial", size=BROAD)))
    # 130 cm = 51.18 in, 60 cm = 23.62 in (25.4 mm to the inch), to eighths.
    assert "51⅛″" in written
    assert "Hardest: 23⅝″, 47°" in written


@pytest.mark.parametrize(
    ("cm", "words"),
    [(2.54, "1″"), (1.27, "½″"), (3.81, "1½″"), (0.1, "0″"), (91.44, "36″"), (50, "19⅝″")],
)
def test_inches_of_the_drawing(cm, words):
    assert short_length(cm, "imperial") == words


@given(st.floats(0, 1000))
def test_the_drawing_and_the_lists_round_alike(cm):
    drawn, listed = (
        read_length(words, bare="mm")
        for words in (short_length(cm, "imperial"), length_text(cm, unit="cm", units="imperial"))
    )
    assert drawn == listed


def test_an_unknown_run_is_a_broken_curve_without_an_angle():
    svg = drawn(house(Place("Bar", "roost", 50), Place("Yard", "landing", bedding="straw")))
    (curve,) = of(svg, "path", "arc")
    assert "unknown" in curve.get("class")
    assert "°" not in " ".join(texts(svg))


def test_each_mark_links_to_its_row_and_says_its_words():
    svg = drawn(CHAIN, page="/landing/")
    links = {link.get("href"): link.find(f"{SVG}title").text for link in of(svg, "a", "thing")}
    ids = row_ids(CHAIN)
    assert set(links) == {f"/landing/#{ids[name]}" for name in ("Top", "Low", "Nest")}
    assert "Square edges" in links["/landing/#place-1"]
    assert "falls at 45° or more" in links["/landing/#place-1"]


EVIL = """<script>alert("x")</script>'&"""


def test_names_from_keepers_stay_text():
    layout = house(
        Place(EVIL, "roost", 90, 40, material=EVIL),
        Place(f"{EVIL}2", "landing", bedding=EVIL, damp="wet"),
    )
    picture = draw(layout, findings(flags_of(layout)), units="metric", title=EVIL)
    assert "<script" not in picture
    svg = ET.fromstring(picture)  # noqa: S314 - our own
    assert svg.get("aria-label") == EVIL
    assert any(title.text.startswith(f"{EVIL}, 90 cm") for title in svg.iter(f"{SVG}title"))


def test_no_style_no_script_and_nothing_smaller_than_eleven_pixels():
    picture = draw(CHAIN, findings(flags_of(CHAIN)), units="metric", title="Shed")
    assert not re.search(r"\sstyle=|<style|<script|\son\w+=|font-size", picture)
    css = (Path(__file__).parents[2] / "static/css/elevation.css").read_text()
    # The letters of the key stand alone and are bold.
    assert sorted(float(size) for size in re.findall(r"font-size: ([\d.]+)px", css)) == [11, 12]


def overlapping(picture):
    return [
        (one, other) for one, other in combinations(picture.lettering.boxes, 2) if one.meets(other)
    ]


@pytest.mark.parametrize("size", [NARROW, BROAD], ids=lambda size: size.name)
@pytest.mark.parametrize("shape", SHAPES, ids=lambda shape: shape.key.value)
def test_no_letters_of_five_real_houses_cover_others(shape, size):
    made = picture(shape.layout(), size=size, kg=2.4)
    boxes = made.lettering.boxes
    # Every thing is named or has its letter, and so has the worst landing.
    assert set(made.lettering.places) == {place.name for place in shape.layout().stands}
    assert made.lettering.worst
    assert not overlapping(made)
    assert all(box.left >= 0 and box.right <= size.width for box in boxes)
    assert all(box.bottom <= made.frame.ground for box in boxes)
    # On a wide screen there is room for all names.
    assert size is NARROW or not made.lettering.letters


SHED = house(
    Place("Top roost", "roost", 130, 55, along_cm=40),
    Place("Lower roost", "roost", 70, 80, along_cm=95),
    Place("Nest fronts", "nest front", 55, 50, along_cm=265),
    Place("Yard in front", "landing", bedding="wood chip", bedding_depth_cm=12),
    length_cm=300.0,
    shape="shed",
)


@pytest.mark.parametrize("size", [NARROW, IN_SIGHT, BROAD, HALF])
@pytest.mark.parametrize("layout", [SHED, PLACED, *(shape.layout() for shape in SHAPES)])
def test_the_worst_landing_is_not_written_across_the_bedding(layout, size):
    made = picture(layout, size=size, kg=2.4)
    assert beds(made.frame)
    assert not any(made.lettering.worst.box.meets(bed) for _, bed in beds(made.frame))


def test_a_drawing_beside_a_table_has_room_for_names():
    assert not picture(SHED, size=HALF, kg=2.4).lettering.letters


def test_where_names_do_not_fit_there_is_a_key():
    crowd = house(
        *(Place(f"Roost number {n}", "roost", 40 + 6 * n, along_cm=30 + 12 * n) for n in range(9)),
        length_cm=160.0,
    )
    made = picture(crowd)
    assert made.lettering.letters["Roost number 8"] == "A"
    assert not overlapping(made)
    written = texts(drawn(crowd))
    assert any(text.startswith("A Roost number 8, 88 cm") for text in written)


def test_the_small_picture_has_no_words():
    svg = ET.fromstring(  # noqa: S314 - our own
        small(PLACED).replace("<svg ", f'<svg xmlns="{SVG[1:-1]}" ', 1)
    )
    assert svg.get("aria-hidden") == "true"
    assert not texts(svg)
    assert len(of(svg, "rect", "bar")) == 2


names = st.text(
    st.characters(codec="utf-8", exclude_categories=["Cc", "Cs"]), min_size=1, max_size=60
)
places = st.builds(
    Place,
    name=names,
    kind=st.sampled_from(
        ["roost", "rail", "nest front", "step", "ramp", "droppings board", "landing", "floor"]
    ),
    height_cm=st.none() | st.floats(0, 300),
    run_cm=st.none() | st.floats(0, 400),
    along_cm=st.none() | st.floats(-200, 600),
    breadth_cm=st.none() | st.floats(5, 200),
    width_mm=st.none() | st.floats(1, 400),
    bedding=st.sampled_from(["", "straw", "none"]),
    bedding_depth_cm=st.none() | st.floats(0, 40),
)


@quick
@given(
    st.lists(places, max_size=7, unique_by=lambda place: place.name),
    st.sampled_from(["metric", "imperial"]),
    st.none() | st.floats(10, 600),
    st.none() | st.floats(0, 100),
)
def test_every_house_can_be_drawn_inside_its_frame(rows, units, length, raised):
    layout = house(*rows, length_cm=length, raised_cm=raised)
    made = picture(layout, units)
    assert not overlapping(made)
    svg = drawn(layout, units)
    left, top, width, height = map(float, svg.get("viewBox").split())
    assert len(of(svg, "a", "thing")) == len(layout.stands)
    assert all(math.isfinite(value) for value in (left, top, width, height))
    for node in svg.iter(f"{SVG}text"):
        assert left <= float(node.get("x")) <= width
        assert top <= float(node.get("y")) <= top + height
    for x0, _, _, _, x1, _ in curves(svg):
        assert -1 <= x0 <= width + 1
        assert -1 <= x1 <= width + 1

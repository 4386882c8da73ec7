"""The drawing of a house: well-formed, to scale, and with every name as text."""

import datetime as dt
import math
import re
import xml.etree.ElementTree as ET
from itertools import combinations
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from flockcare.analysis.landing import descent_angle
from flockcare.housing.elevation import draw, row_ids, short_length
from flockcare.housing.flags import findings, flags_of
from flockcare.housing.layout import Layout, Place
from flockcare.housing.units import length_text, read_length
from tests.analysis.properties import examples

quick = examples(40)
SVG = "{http://www.w3.org/2000/svg}"


def house(*places):
    return Layout("Shed", dt.date(2026, 5, 1), tuple(places))


SHED = house(
    Place("Top", "roost", 130, 55, width_mm=45, edge="square"),
    Place("Low", "roost", 70, 80, width_mm=70, edge="rounded"),
    Place("Nest", "nest front", 55, 30),
    Place("Yard", "landing", bedding="wood chip", bedding_depth_cm=12, damp="damp"),
)


def drawn(layout, units="metric", page=""):
    picture = draw(layout, findings(flags_of(layout)), units=units, title="Shed", page=page)
    return ET.fromstring(picture)  # noqa: S314 - our own


def of(svg, tag, kind):
    return [node for node in svg.iter(f"{SVG}{tag}") if kind in node.get("class", "").split()]


def numbers(node, *names):
    return [float(node.get(name)) for name in names]


def middles(svg):
    """Centre and top of every bar by the name that its link is titled with."""
    found = {}
    for link in svg.iter(f"{SVG}a"):
        for bar in of(link, "rect", "bar"):
            x, y, width = numbers(bar, "x", "y", "width")
            found[link.find(f"{SVG}title").text.split(",")[0]] = (x + width / 2, y)
    return found


def texts(svg):
    return ["".join(node.itertext()) for node in svg.iter(f"{SVG}text")]


def per_cm(svg):
    """Pixels of a centimetre by the bar of the scale alone: 100 cm in this house."""
    left, right = sorted(numbers(of(svg, "line", "scale")[0], "x1", "x2"))
    (words,) = [text for text in texts(svg) if "up and across" in text]
    return (right - left) / float(words.split()[0])


def test_heights_and_runs_are_to_the_scale_that_is_drawn():
    svg = drawn(SHED)
    scale, at = per_cm(svg), middles(svg)
    (floor,) = [numbers(line, "y1")[0] for line in of(svg, "line", "floor")]
    heights = {name: (floor - y) / scale for name, (_, y) in at.items()}
    assert heights == pytest.approx({"Top": 130, "Low": 70, "Nest": 55}, abs=0.05)
    # By hand: 55, 80 and 30 cm one after the other.
    assert (at["Low"][0] - at["Top"][0]) / scale == pytest.approx(55, abs=0.05)
    assert (at["Nest"][0] - at["Low"][0]) / scale == pytest.approx(80, abs=0.05)
    (bedding,) = of(svg, "rect", "bedding")
    assert (floor - numbers(bedding, "y")[0]) / scale == pytest.approx(12, abs=0.05)
    widths = [numbers(bar, "width")[0] for bar in of(svg, "rect", "bar")]
    # 45 and 70 mm are less than what can be seen on a phone; no bar is drawn thinner than 7.
    assert min(widths) == 7


def test_slopes_lie_at_the_angles_that_are_written():
    """atan(60/55), atan(15/80) and atan(55/30): 47.5, 10.6 and 61.4 degrees by hand."""
    svg = drawn(SHED)
    slopes = sorted(
        math.degrees(math.atan2(y2 - y1, x2 - x1))
        for x1, y1, x2, y2 in (
            numbers(line, "x1", "y1", "x2", "y2") for line in of(svg, "line", "slope")
        )
    )
    assert slopes == pytest.approx([10.6, 47.5, 61.4], abs=0.1)
    written = " ".join(texts(svg))
    for words in ("↓ 60 cm", "47° ▲", "↓ 15 cm", "11°", "↓ 55 cm", "61° ▲"):
        assert words in written


def test_runs_heights_and_bedding_are_written():
    written = texts(drawn(SHED))
    for words in ("55 cm", "80 cm", "30 cm", "Top", "Yard: wood chip 12 cm, damp"):
        assert words in written
    assert any(text.startswith("130 cm ▲") for text in written)


def test_inches_where_the_flock_uses_them():
    svg = drawn(SHED, "imperial")
    written = texts(svg)
    # 130 cm = 51.18 in, 60 cm = 23.62 in (25.4 mm to the inch), to eighths.
    assert any(text.startswith("51⅛″") for text in written)
    assert "↓ 23⅝″" in written
    assert "in" in written
    at = middles(svg)
    ticks = {text: node for node, text in zip(svg.iter(f"{SVG}text"), written, strict=True)}
    (floor,) = [numbers(line, "y1")[0] for line in of(svg, "line", "floor")]
    tick = float(ticks["40"].get("y")) - 4
    assert (floor - tick) / 40 * 130 / 2.54 == pytest.approx(floor - at["Top"][1], abs=0.1)


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


def test_an_unknown_run_is_a_broken_line_without_an_angle():
    svg = drawn(house(Place("Bar", "roost", 50), Place("Yard", "landing", bedding="straw")))
    (slope,) = of(svg, "line", "slope")
    assert "unknown" in slope.get("class")
    assert "?" in texts(svg)
    assert "°" not in " ".join(texts(svg))


def test_a_house_of_which_nobody_described_the_ground_or_anything():
    assert any("bedding not recorded" in text for text in texts(drawn(house(SHED.places[0]))))
    assert not middles(drawn(house()))


def test_each_mark_links_to_its_row_and_says_its_words():
    svg = drawn(SHED, page="/landing/")
    links = {link.get("href"): link.find(f"{SVG}title").text for link in svg.iter(f"{SVG}a")}
    assert set(links) == {f"/landing/#{key}" for key in row_ids(SHED).values()}
    assert "Square edges" in links["/landing/#place-1"]
    titles = [title.text for title in svg.iter(f"{SVG}title")]
    assert any("falls at 45° or more" in title for title in titles)


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


def test_no_style_no_script_and_nothing_smaller_than_twelve_pixels():
    picture = draw(SHED, findings(flags_of(SHED)), units="metric", title="Shed")
    assert not re.search(r"\sstyle=|<style|<script|\son\w+=|font-size", picture)
    css = (Path(__file__).parents[2] / "static/css/elevation.css").read_text()
    sizes = [float(size) for size in re.findall(r"font-size: ([\d.]+)px", css)]
    assert sizes == [12]


names = st.text(
    st.characters(codec="utf-8", exclude_categories=["Cc", "Cs"]), min_size=1, max_size=60
)
places = st.builds(
    Place,
    name=names,
    kind=st.sampled_from(["roost", "rail", "nest front", "step", "landing", "floor", "other"]),
    height_cm=st.none() | st.floats(0, 300),
    run_cm=st.none() | st.floats(0, 400),
    width_mm=st.none() | st.floats(0, 400),
    bedding=st.sampled_from(["", "straw", "none"]),
    bedding_depth_cm=st.none() | st.floats(0, 40),
)


@quick
@given(
    st.lists(places, max_size=8, unique_by=lambda place: place.name),
    st.sampled_from(["metric", "imperial"]),
)
def test_every_house_can_be_drawn_inside_its_frame(rows, units):
    layout = house(*rows)
    svg = drawn(layout, units)
    left, top, width, height = map(float, svg.get("viewBox").split())
    assert len(of(svg, "rect", "bar")) == len(layout.stands)
    for node in svg.iter(f"{SVG}text"):
        assert left <= float(node.get("x")) <= width
        assert top <= float(node.get("y")) <= top + height
    for line in of(svg, "line", "slope") + of(svg, "line", "run"):
        for x in numbers(line, "x1", "x2"):
            assert left - 0.01 <= x <= width + 0.01
    at = middles(svg)
    for one, other in combinations(at.values(), 2):
        higher, lower = sorted((one, other), key=lambda spot: spot[1])
        if lower[1] - higher[1] > 0.1:
            assert lower[0] >= higher[0] - 0.02  # It stands before the higher one.


# Scholz, Kjaer & Schrader (2014): 25, 50 and 60 cm down over 75 cm; 34 degrees for 50 cm (abstract
# read), the others computed: 18.4 and 38.7.
@pytest.mark.parametrize(("drop", "written"), [(25, "18°"), (50, "34°"), (60, "39°")])
def test_published_perch_slopes_are_drawn(drop, written):
    svg = drawn(house(Place("Bar", "roost", drop, 75, edge="rounded")))
    assert any(text.split()[0] == written for text in texts(svg))
    (slope,) = of(svg, "line", "slope")
    x1, y1, x2, y2 = numbers(slope, "x1", "y1", "x2", "y2")
    assert (y2 - y1) / (x2 - x1) == pytest.approx(drop / 75, rel=0.001)
    assert f"{descent_angle(drop / 100, 0.75):.0f}°" == written

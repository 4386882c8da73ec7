import xml.etree.ElementTree as ET

import pytest
from hypothesis import given
from hypothesis import strategies as st

from flockcare.drawing import marks
from flockcare.drawing.markup import Markup, element, join, number, percent, text

# What an XML 1.0 document may hold, less the returns that its readers turn into line feeds and
# (in attributes) the white space that they turn into blanks.
plain = st.text(
    st.characters(codec="utf-8", exclude_categories=["Cc", "Cs"], exclude_characters="\ufffe\uffff")
)


@given(plain, plain)
def test_whatever_a_keeper_types_comes_back_as_text(name, note):
    """An outside XML reader finds one element with the same text: nothing became markup."""
    drawn = ET.fromstring(element("text", {"data-name": name}, note, ""))  # noqa: S314
    assert (drawn.get("data-name"), drawn.text or "", len(drawn)) == (name, note, 0)


def test_a_script_in_a_name_stays_a_name():
    hostile = """<script>alert("x")</script>'"""
    drawn = element("title", {"class": hostile}, hostile)
    assert "<script" not in drawn
    assert '"x"' not in drawn
    assert element("g", {}, element("a", {}, hostile)).count("<") == 4


def test_markup_is_recognised_by_a_template_engine_and_not_escaped_twice():
    from django.utils.html import conditional_escape

    drawn = element("circle", {"r": 3.0, "fill": None})
    assert drawn == '<circle r="3"/>'
    assert conditional_escape(drawn) == drawn
    assert text(drawn) is drawn
    assert join([drawn, "a<b"]) == '<circle r="3"/>a&lt;b'


@pytest.mark.parametrize(
    ("value", "written"),
    [(0, "0"), (-0.001, "0"), (1.5, "1.5"), (2 / 3, "0.67"), (100.0, "100"), (-12.30, "-12.3")],
)
def test_numbers_are_short(value, written):
    assert number(value) == written


def test_shares_as_percentages():
    assert percent(0.12345) == "12.35%"
    assert percent(1) == "100.00%"


def test_scores_differ_by_shape_alone():
    """Open ring, half ring, full disc: what is filled differs, not only its colour."""
    drawn = [marks.ring(5), marks.half_ring(5), marks.disc(5)]
    filled = [ET.fromstring(f"<g>{shape}</g>").findall("*[@class='mark-fill']") for shape in drawn]  # noqa: S314
    assert [len(parts) for parts in filled] == [0, 1, 1]
    assert [parts[0].tag for parts in filled if parts] == ["path", "circle"]
    for shape in (marks.cross, marks.boxed_cross, marks.diamond, marks.triangle, marks.dot):
        assert isinstance(shape(4), Markup)

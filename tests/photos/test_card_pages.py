"""Choosing cards and the sheets to print: sizes in mm, and what each card's code says."""

import re
import xml.etree.ElementTree as ET

import numpy as np
import pytest
import zxingcpp
from django.urls import reverse

from flockcare.birds.models import Bird
from flockcare.photos import cards
from flockcare.photos.measuring import card_code, named_by
from tests.people.rows import READ_PAGE, same_queries, seen

pytestmark = pytest.mark.django_db

SVG = "{http://www.w3.org/2000/svg}"
PLAIN = {"cards_for": "bird", "paper": "a4", "per_sheet": 10}


def sheets(cast, **chosen):
    url = reverse("photos:card_sheets", args=[cast.flock.pk])
    return cast.clients.viewer.get(url, {**PLAIN, **chosen})


def drawings(answer) -> list[ET.Element]:
    texts = re.findall(r"<svg .*?</svg>", answer.content.decode(), re.DOTALL)
    return [ET.fromstring(text) for text in texts]  # noqa: S314


def cards_in(answer) -> list[ET.Element]:
    return [each for each in drawings(answer) if each.get("width") == f"{cards.WIDTH:g}mm"]


def code_of(svg) -> str:
    """What a reader of QR codes sees in the drawing's black boxes, at 8 pixels per mm."""
    picture = np.full((round(cards.HEIGHT * 8), round(cards.WIDTH * 8)), 255, np.uint8)
    for path in svg.iter(f"{SVG}path"):
        tone = int(path.get("fill")[1:3], 16)
        for x, y, width, height in re.findall(
            r"M([\d.]+) ([\d.]+)h([\d.]+)v([\d.]+)", path.get("d")
        ):
            left, top = float(x) * 8, float(y) * 8
            right, bottom = left + float(width) * 8, top + float(height) * 8
            picture[round(top) : round(bottom), round(left) : round(right)] = tone
    found = zxingcpp.read_barcodes(picture, formats=zxingcpp.BarcodeFormat.QRCode)
    assert len(found) == 1
    return found[0].text


def test_one_card_for_each_chosen_bird_names_her(cast, birds):
    chosen = [birds["Dill"].pk, birds["Sorrel"].pk]
    found = cards_in(sheets(cast, birds=chosen))
    assert [named_by(code_of(svg)) for svg in found] == [(str(key), "") for key in chosen]
    assert [svg.find(f"{SVG}title").text for svg in found] == ["Dill", "Sorrel"]


def test_two_cards_for_each_bird_name_her_feet(cast, birds):
    codes = [
        code_of(svg) for svg in cards_in(sheets(cast, birds=birds["Mace"].pk, cards_for="feet"))
    ]
    mace = str(birds["Mace"].pk)
    assert [named_by(code) for code in codes] == [(mace, "left"), (mace, "right")]
    assert codes == [card_code(birds["Mace"], foot) for foot in ("left", "right")]


def test_none_chosen_prints_all_that_are_here(cast, birds):
    Bird.objects.filter(pk=birds["Mace"].pk).update(left="2026-01-01", left_reason="died")
    Bird.objects.create(flock=cast.elsewhere, name="Stranger")
    found = cards_in(sheets(cast))
    assert [svg.find(f"{SVG}title").text for svg in found] == ["Dill", "Sorrel"]


@pytest.mark.parametrize(("per_sheet", "expected"), [(10, [3]), (2, [2, 1]), (1, [1, 1, 1])])
def test_so_many_on_a_sheet_and_a_ruler_of_50_mm_on_each(cast, birds, per_sheet, expected):
    answer = sheets(cast, per_sheet=per_sheet)
    assert [len(sheet) for sheet in answer.context["sheets"]] == expected
    rulers = [each for each in drawings(answer) if each.get("width") == "54mm"]
    assert len(rulers) == len(expected)
    for ruler in rulers:
        # One unit of the drawing is one mm on paper.
        assert ruler.get("viewBox").split()[2] == "54"
        assert "H50" in ruler.find(f"{SVG}path").get("d")
    text = answer.content.decode()
    assert "100%" in text and "50 mm" in text


@pytest.mark.parametrize(
    ("chosen", "said"),
    [
        ({"per_sheet": 11}, "Enter 1 to 10."),
        ({"per_sheet": 0}, "Enter 1 to 10."),
        ({"paper": "a3"}, "one of the choices"),
        ({"birds": "nonsense"}, "one of the choices"),
    ],
)
def test_what_cannot_be_printed_is_said_on_the_form(cast, birds, chosen, said):
    answer = sheets(cast, **chosen)
    assert answer.status_code == 422 and said in answer.content.decode()


def test_a_card_of_another_flock_is_not_printed(cast, birds):
    other = Bird.objects.create(flock=cast.elsewhere, name="Stranger")
    answer = sheets(cast, birds=other.pk)
    assert answer.status_code == 422 and cards_in(answer) == []


def test_a_name_is_written_not_run(cast):
    Bird.objects.create(flock=cast.flock, name="<b>Dill</b> & Co")
    text = sheets(cast).content.decode()
    assert "<b>Dill" not in text and "&lt;b&gt;Dill" in text


def test_a_flock_without_birds_is_told_so(cast):
    text = cast.clients.owner.get(reverse("photos:cards", args=[cast.flock.pk])).content.decode()
    assert "No birds yet" in text
    assert sheets(cast).headers["Location"] == reverse("photos:cards", args=[cast.flock.pk])


def test_who_may_print(cast, birds):
    assert seen(cast, reverse("photos:cards", args=[cast.flock.pk])) == READ_PAGE
    url = (
        reverse("photos:card_sheets", args=[cast.flock.pk])
        + "?cards_for=bird&paper=a4&per_sheet=10"
    )
    assert seen(cast, url) == READ_PAGE


@pytest.mark.parametrize("name", ["cards", "card_sheets"])
def test_queries(cast, name):
    Bird.objects.create(flock=cast.flock, name="Dill")

    def grow():
        for number in range(19):
            Bird.objects.create(flock=cast.flock, name=f"Hen {number}")

    url = reverse(f"photos:{name}", args=[cast.flock.pk])
    if name == "card_sheets":
        url += "?cards_for=feet&paper=letter&per_sheet=10"
    same_queries(cast.clients.owner, url, grow=grow)


@pytest.mark.parametrize("query", ["", "?cards_for=feet&paper=letter&per_sheet=8"])
def test_whoever_may_look_may_print(cast, birds, query):
    """Also by the bare address, as a bookmark has it."""
    address = reverse("photos:card_sheets", args=[cast.flock.pk])
    assert seen(cast, address + query) == READ_PAGE
    assert "Dill" in cast.clients.viewer.get(address + query).text

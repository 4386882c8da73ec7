"""Reviewing a foot's photos as keepers do it: strip, compare, play, full screen, measuring."""

import json

import numpy as np
import pytest

from tests.browser.conftest import LAPTOP, PHONE
from tests.browser.taps import until
from tests.browser.test_accessibility import problems, problems_in_both_schemes
from tests.browser.test_photos import (
    address,
    measured,
    open_board,
    polygon_area,
    press,
    shown_at,
)

assert measured  # the fixture, of the photos below

SIZES = pytest.mark.parametrize("viewport", [PHONE, LAPTOP], ids=["phone", "laptop"])


@pytest.fixture(scope="module")
def foot(site):
    """Three painted photos of Mace's left foot, oldest first: two with her card, one without."""
    said = site.installation.run("tests/browser/prepare_photos.py", site.flock, site.birds["Mace"])
    return json.loads(said)


def on_board(page, place) -> tuple[float, float]:
    return page.evaluate(
        """([x, y]) => {
          const place = new DOMPoint(x, y).matrixTransform(
            document.querySelector(".marks").getScreenCTM());
          return [place.x, place.y];
        }""",
        place,
    )


def series(site, query="") -> str:
    return f"/f/{site.flock}/photos/series/{site.birds['Mace']}/left/{query}"


def opened(page, site, query=""):
    page.goto(series(site, query))


def letters(page) -> list[str]:
    """What each photo of the strip is marked with."""
    return page.evaluate(
        """[...document.querySelectorAll(".strip a")].map((link) =>
          link.querySelector(".letter")?.textContent ?? (link.ariaCurrent ? "this" : ""))"""
    )


def touch(page, element):
    element.tap() if page.viewport_size == PHONE else element.click()


def photos(page):
    return page.locator(".strip a")


# --- The strip


@SIZES
def test_two_taps_compare_any_two_without_loading_the_page_again(
    open_phone, site, measured, viewport
):
    page = open_phone("ada", viewport=viewport)
    opened(page, site)
    assert letters(page) == ["A", "B", ""]  # the two that are measured
    page.evaluate("window.here = true")
    touch(page, photos(page).nth(2))
    assert letters(page) == ["", "", "A"]
    assert "Now tap the photo to compare it with" in page.inner_text(".choosing")
    touch(page, photos(page).nth(0))
    page.wait_for_selector("#compare p:has-text('not measured')")
    assert letters(page) == ["A", "", "B"]  # in time order
    assert page.evaluate("window.here") and "view=side" in page.url
    page.reload()
    assert letters(page) == ["A", "", "B"]
    assert not page.problems


@SIZES
def test_photos_are_as_wide_as_the_screen_allows(open_phone, site, measured, viewport):
    page = open_phone("ada", viewport=viewport)
    opened(page, site)
    panes = [pane.bounding_box() for pane in page.locator(".pane").all()]
    if viewport == PHONE:
        assert [pane["width"] for pane in panes] == [PHONE["width"]] * 2
        assert panes[0]["y"] + panes[0]["height"] <= panes[1]["y"]
    else:
        assert panes[0]["y"] == panes[1]["y"]
        assert sum(pane["width"] for pane in panes) > 0.95 * page.locator("main h1").evaluate(
            "title => title.parentElement.clientWidth - 32"
        )
    # No bars: a photo reaches all four sides of its frame.
    for query in ("", f"?a={key(measured[0])}&b={key(measured[2])}"):
        opened(page, site, query)
        for pane in page.locator(".pane").all():
            frame, photo = pane.bounding_box(), pane.locator("img").first.bounding_box()
            for side, length in (("x", "width"), ("y", "height")):
                assert photo[side] <= frame[side] + 1
                assert photo[side] + photo[length] >= frame[side] + frame[length] - 1


def key(photo) -> str:
    return photo["id"].replace("-", "")[:8]


@SIZES
def test_keys_buttons_and_swipes_step_through(open_phone, site, measured, viewport):
    page = open_phone("ada", viewport=viewport)
    opened(page, site, f"?a={key(measured[0])}&b={key(measured[0])}&view=one")
    touch(page, photos(page).nth(0))
    page.wait_for_selector(f"#compare[data-now='{key(measured[0])}']")
    assert letters(page) == ["this", "", ""]
    page.keyboard.press("ArrowRight")
    page.wait_for_selector(f"#compare[data-now='{key(measured[1])}']")
    touch(page, page.locator("[data-step='1']"))
    page.wait_for_selector(f"#compare[data-now='{key(measured[2])}']")
    swipe(page, page.locator(".pane"), 120)  # to the right: back to the one before
    page.wait_for_selector(f"#compare[data-now='{key(measured[1])}']")
    assert letters(page) == ["", "this", ""]
    # The marker has come along.
    x = "document.querySelector('.chart .now').getAttribute('x1')"
    mark = f"document.querySelector('.chart a[data-key=\"{key(measured[1])}\"] circle')"
    assert page.evaluate(x) == page.evaluate(f"{mark}.getAttribute('cx')")
    assert not page.problems


def swipe(page, element, dx):
    element.scroll_into_view_if_needed()
    box = element.bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + dx, y + 5, steps=4)
    page.mouse.up()


@SIZES
def test_a_tap_on_the_curve_chooses(open_phone, site, measured, viewport):
    page = open_phone("ada", viewport=viewport)
    opened(page, site, f"?a={key(measured[0])}&b={key(measured[1])}&view=one")
    page.locator(".chart").scroll_into_view_if_needed()
    first = page.locator(".chart a circle").first.bounding_box()
    chart = page.locator(".chart").bounding_box()
    # Anywhere above or below the mark.
    page.mouse.click(first["x"] + first["width"] / 2 + 12, chart["y"] + 40)
    page.wait_for_selector(f"#compare[data-now='{key(measured[0])}']")
    assert letters(page) == ["this", "", ""]


def test_the_tab_key_stops_once_at_each_photo(open_phone, site, measured):
    """A mark of the curve is a photo of the strip, where Enter chooses as a tap does."""
    page = open_phone("ada", viewport=LAPTOP)
    opened(page, site)
    page.locator(".stepping [data-step='1']").focus()
    stops = []
    for _ in range(len(measured) + 1):
        page.keyboard.press("Tab")
        stops.append(page.evaluate("document.activeElement.dataset.key"))
    assert stops == [key(photo) for photo in measured] + [None]
    photos(page).nth(2).focus()
    page.keyboard.press("Enter")
    photos(page).nth(0).focus()
    page.keyboard.press("Enter")
    page.wait_for_selector("#compare p:has-text('not measured')")
    assert letters(page) == ["A", "", "B"]
    assert not page.problems


def test_who_zooms_finds_the_buttons_with_the_next_pair_too(open_phone, site, measured):
    page = open_phone("ada")
    opened(page, site)
    assert not page.is_visible("[data-zoom]")
    page.locator(".zooming summary").tap()
    small = [
        box
        for button in page.locator(".zooming :is(summary, button)").all()
        for box in [button.bounding_box()]
        if box["height"] < 48 or box["width"] < 48
    ]
    assert not small
    photos(page).nth(2).tap()
    photos(page).nth(0).tap()
    page.wait_for_selector("#compare p:has-text('not measured')")
    page.locator("button[aria-label=Nearer]").tap()
    page.wait_for_selector(".pane.near")
    assert not page.problems


@pytest.mark.parametrize("motion", ["no-preference", "reduce"])
def test_play_shows_the_measured_ones_in_one_place(open_phone, site, measured, motion):
    page = open_phone("ada")
    page.emulate_media(reduced_motion=motion)
    opened(page, site)
    told = page.locator("#compare > .verdict")
    assert told.is_visible()
    page.locator("[data-play]").tap()
    page.wait_for_selector(".lapse .laid")
    assert told.count() and not told.is_visible()  # Of the two it speaks of none is seen now.
    seen = []
    until(page, "document.querySelector('.lapse figcaption strong')")
    eased = page.evaluate(
        "getComputedStyle(document.querySelector('.lapse .layer')).transitionDuration"
    )
    assert (eased == "0s") == (motion == "reduce")
    for _ in range(60):
        if not page.locator(".lapse").count():
            break
        when = page.evaluate("document.querySelector('.lapse figcaption strong')?.textContent")
        if when and when not in seen:
            seen.append(when)
        page.wait_for_timeout(100)
    page.wait_for_selector("#compare[data-view=one]")
    days = [each.inner_text() for each in page.locator(".strip time").all()]
    assert seen == days[:2]  # the third has no scale
    assert page.inner_text("[data-play]") == "Play"
    assert letters(page) == ["", "this", ""]
    page.locator("[data-play]").tap()
    page.wait_for_selector(".lapse .laid")
    page.locator("[data-play]").tap()  # stop
    page.wait_for_selector(".compared:not(.lapse) .pane")
    assert not page.problems


def test_both_outlines_look_different(open_phone, site, measured):
    page = open_phone("ada")
    opened(page, site, "?view=over")
    looks = [
        page.evaluate(
            f"(({{ stroke, strokeDasharray }}) => [stroke, strokeDasharray])"
            f"(getComputedStyle(document.querySelector('.outline-{of}')))"
        )
        for of in "ab"
    ]
    assert looks[0][0] != looks[1][0]
    assert looks[0][1] != "none" and looks[1][1] == "none"


def test_fading_from_one_to_the_other(open_phone, site, measured):
    page = open_phone("ada")
    opened(page, site, "?view=fade")
    share = "getComputedStyle(document.querySelector('.layer-b')).opacity"
    assert page.evaluate(share) == "0.5"
    page.locator(".fading input").fill("20")
    assert page.evaluate(share) == "0.2"


@SIZES
def test_unmeasured_photos_are_laid_over_each_other_by_two_points(
    open_phone, site, measured, viewport
):
    """Two places tapped in both: in B they lie 1.5 times as far apart and turned by a quarter."""
    page = open_phone("ada", viewport=viewport)
    opened(page, site, f"?a={key(measured[0])}&b={key(measured[2])}&view=over")
    page.locator("[data-line-up]").click()
    page.locator(".pane").scroll_into_view_if_needed()
    box = page.locator(".pane").bounding_box()
    middle = np.array((box["x"] + box["width"] / 2, box["y"] + box["height"] / 2))
    assert "Photo A" in page.inner_text(".lining")
    in_a = middle + np.array([(-40, 0), (40, 0)])
    in_b = middle + np.array([(0, -60), (0, 60)])
    before = page.evaluate(corner)
    for number, place in enumerate([*in_a, *in_b]):
        if number == 2:
            assert "Photo B" in page.inner_text(".lining")
        press(page, tuple(place))
    assert not page.is_visible(".lining")
    now = page.evaluate(corner)
    # By hand: (x, y) about the middle goes to (y, -x) / 1.5.
    x, y = np.array(before) - middle
    assert np.array(now) - middle == pytest.approx(np.array((y, -x)) / 1.5, abs=1.5)
    assert not page.problems


# Where the first corner of B lies on the screen.
corner = """(() => {
  const laid = document.querySelector(".layer-b .laid"), box = laid.closest(".pane");
  const { left, top } = box.getBoundingClientRect();
  const place = new DOMPoint(0, 0).matrixTransform(new DOMMatrix(getComputedStyle(laid).transform));
  return [left + box.clientLeft + place.x, top + box.clientTop + place.y];
})()"""


# --- Full screen


@SIZES
def test_a_photo_opens_over_the_screen_and_leads_to_the_next_date(
    open_phone, site, measured, viewport
):
    page = open_phone("ada", viewport=viewport)
    opened(page, site)
    start = page.url
    link = page.locator("#compare [data-viewer]").first
    touch(page, link)
    page.wait_for_selector("dialog.viewer[open]")
    foot = page.locator(".viewer-foot")
    days = [each.text_content() for each in page.locator(".strip time").all()]
    assert days[0] in foot.inner_text() and "mm²" in foot.inner_text()
    before = page.locator(".viewer button[aria-label='Photo before']")
    assert before.get_attribute("aria-disabled") == "true"
    page.keyboard.press("ArrowRight")
    assert days[1] in foot.inner_text()
    swipe(page, page.locator(".viewer-stage"), -150)
    assert days[2] in foot.inner_text()
    stage = page.locator(".viewer-stage").bounding_box()
    middle = (stage["x"] + stage["width"] / 2, stage["y"] + stage["height"] / 2)
    wide = "document.querySelector('.viewer-stage img').getBoundingClientRect().width"
    fit = page.evaluate(wide)
    page.mouse.dblclick(*middle)
    assert page.evaluate(wide) == pytest.approx(3 * fit)
    page.mouse.move(*middle)
    page.mouse.wheel(0, -200)
    until(page, f"{wide} > {3.2 * fit}")
    left = "document.querySelector('.viewer-stage img').getBoundingClientRect().left"
    before = page.evaluate(left)
    swipe(page, page.locator(".viewer-stage"), 40)  # near, so that it moves
    assert page.evaluate(left) == pytest.approx(before + 40, abs=1)
    assert days[2] in foot.inner_text()
    assert not problems(page)
    page.keyboard.press("Escape")
    page.wait_for_selector("dialog.viewer", state="hidden")
    page.wait_for_url(start)
    assert link.evaluate("link => link === document.activeElement")
    touch(page, link)
    page.wait_for_selector("dialog.viewer[open]")
    page.go_back()
    page.wait_for_selector("dialog.viewer", state="hidden")
    assert page.url == start
    assert not page.problems


def test_the_photo_page_opens_it_with_its_neighbours(open_phone, site, measured):
    page = open_phone("ben", viewport=LAPTOP)
    page.goto(address(site, measured[1], ""))
    page.click(".whole-photo a")
    page.wait_for_selector(".viewer-foot:has-text('mm²')")
    page.click(".viewer button[aria-label='Photo before']")
    page.wait_for_selector(f".viewer-foot a[href*='{measured[0]['id']}']")
    page.click(".viewer-close")
    assert page.url.endswith(address(site, measured[1], ""))
    assert not page.problems


# --- Measuring


@SIZES
def test_measuring_opens_on_the_window_with_save_in_view(open_phone, site, foot, viewport):
    page = open_phone("ada", viewport=viewport)
    open_board(page, address(site, foot[0]))
    x, y = on_board(page, foot[0]["middle"])
    board = page.locator(".board").bounding_box()
    assert board["x"] < x < board["x"] + board["width"]
    assert board["y"] < y < board["y"] + board["height"]
    shown = page.evaluate("document.querySelector('.board').viewBox.baseVal.width")
    assert shown < 0.8 * 1200  # nearer than the whole photo
    for scrolled in (0, 10_000):
        page.evaluate(f"scrollTo(0, {scrolled})")
        board = page.locator(".board").bounding_box()
        saving = page.locator(".saving").bounding_box()
        assert board["y"] >= 0 and saving["y"] >= board["y"] + board["height"] - 1
        bottom = viewport["height"] - (60 if viewport == PHONE else 0)
        assert saving["y"] + saving["height"] <= bottom
    controls = page.locator(".controls").bounding_box()
    if viewport == LAPTOP:
        assert controls["x"] >= board["x"] + board["width"]
    assert not page.problems


def test_wheel_middle_button_space_and_taking_back(open_phone, site, foot):
    page = open_phone("ada", viewport=LAPTOP)
    open_board(page, address(site, foot[1]))
    page.click("[data-does=whole]")
    there = on_board(page, foot[1]["middle"])
    place = [int(each) for each in there]  # events of the wheel know whole pixels only
    page.mouse.move(*place)
    page.mouse.wheel(0, -400)
    until(page, "document.querySelector('.board').viewBox.baseVal.width < 600")
    # What lies under the pointer stays there: e times as far from it as before.
    now = np.array(on_board(page, foot[1]["middle"]))
    assert now - place == pytest.approx(np.e * (np.array(there) - place), abs=0.5)
    for key_, button in ((None, "middle"), (" ", "left")):
        before = np.array(on_board(page, foot[1]["middle"]))
        page.mouse.move(*place)
        if key_:
            page.keyboard.down(key_)
        page.mouse.down(button=button)
        page.mouse.move(place[0] - 30, place[1] - 20, steps=3)
        page.mouse.up(button=button)
        if key_:
            page.keyboard.up(key_)
        assert on_board(page, foot[1]["middle"]) == pytest.approx(before - (30, 20), abs=1)
    outline = page.input_value("input[name=outline]")
    page.click("[data-does=circle]")
    until(page, f"document.querySelector('[name=outline]').value !== {outline!r}")
    page.keyboard.press("Control+z")
    assert page.input_value("input[name=outline]") == outline


def test_a_refusal_stands_on_the_photo(open_phone, site, foot):
    page = open_phone("ada")
    open_board(page, address(site, foot[2]))
    page.locator("[data-does=circle]").tap()
    page.wait_for_selector(".result.refused")
    page.evaluate("scrollTo(0, 0)")
    board, said = (page.locator(each).bounding_box() for each in (".board-frame", ".result"))
    assert board["y"] < said["y"]
    assert said["y"] + said["height"] <= board["y"] + board["height"] + 1


@SIZES
def test_axe_finds_nothing(open_phone, site, measured, viewport):
    page = open_phone("ada", viewport=viewport)
    pair = f"?a={key(measured[0])}&b={key(measured[2])}"
    for path in (
        *(series(site, f"?view={view}") for view in ("one", "side", "over", "fade")),
        series(site, f"{pair}&view=over"),
        address(site, measured[0]),
    ):
        page.goto(path)
        wide = page.evaluate("document.documentElement.scrollWidth - window.innerWidth")
        assert wide <= 0, f"{path} is {wide} px wider than the screen"
        assert not problems_in_both_schemes(page), path


def test_the_outlines_areas_are_those_painted(open_phone, site, measured):
    """In the pair on a wide screen, whose frames are wider than tall."""
    page = open_phone("ada", viewport=LAPTOP)
    opened(page, site, "?view=over")
    a, b = (polygon_area(shown_at(page, of)) for of in "ab")
    assert a / b == pytest.approx(measured[0]["area"] / measured[1]["area"], rel=0.12)
    pane, span = page.locator(".pane").bounding_box(), page.get_attribute(".compared", "data-span")
    assert a * (float(span) / min(pane["width"], pane["height"])) ** 2 == pytest.approx(
        measured[0]["area"], rel=0.1
    )

"""Measuring, comparing and printing as keepers do it, with a finger, a mouse and the keyboard."""

import io
import json
import re
import zlib

import numpy as np
import pytest
from PIL import Image
from playwright.sync_api import expect

from flockcare.photos import cards
from flockcare.photos.scale import read_card
from tests.browser.conftest import LAPTOP, PHONE
from tests.browser.taps import until, until_held

SIZES = pytest.mark.parametrize("viewport", [PHONE, LAPTOP], ids=["phone", "laptop"])


@pytest.fixture(scope="module")
def foot(site):
    """Three painted photos of Lovage's left foot: two with her card, one without."""
    said = site.installation.run(
        "tests/browser/prepare_photos.py", site.flock, site.birds["Lovage"]
    )
    return json.loads(said)


@pytest.fixture(scope="module")
def measured(browser, site, foot):
    """The two with her card, measured by a tap on the sore."""
    context = browser.new_context(viewport=LAPTOP, base_url=site.url)
    context.add_cookies(
        [{"name": "flockcare_session", "value": site.sessions["ada"], "url": site.url}]
    )
    page = context.new_page()
    for photo in foot[:2]:
        open_board(page, address(site, photo))
        page.click("[data-does=whole]")
        press(page, on_screen(page, [photo["middle"]])[0])
        area(page)
        page.locator("button:has-text('Save')").click()
        page.wait_for_url(re.compile("/series/"))
    context.close()
    return foot


def address(site, photo, what="measure/") -> str:
    return f"/f/{site.flock}/photos/{photo['id']}/{what}"


def series(site, query="") -> str:
    return f"/f/{site.flock}/photos/series/{site.birds['Lovage']}/left/{query}"


def on_screen(page, points) -> list[tuple[float, float]]:
    """Pixels of the original as the board shows them now."""
    return page.evaluate(
        """(points) => {
          const matrix = document.querySelector(".marks").getScreenCTM();
          return points.map(([x, y]) => {
            const place = new DOMPoint(x, y).matrixTransform(matrix);
            return [place.x, place.y];
          });
        }""",
        points,
    )


def outline(page) -> list:
    return json.loads(page.input_value("input[name=outline]") or "[]")


def area(page) -> float:
    page.wait_for_selector(".result strong")
    return float(page.inner_text(".result strong").split("±")[0])


def area_after(page, deed, *more) -> float:
    """What is said of the size after a deed that changes it or asks for it anew."""
    page.evaluate("document.querySelector('.result').replaceChildren()")
    deed(*more)
    return area(page)


def stroke(page, points) -> None:
    """Drawn with the mouse along pixels of the original."""
    way = on_screen(page, points)
    page.mouse.move(*way[0])
    page.mouse.down()
    for place in way[1:]:
        page.mouse.move(*place)
    page.mouse.up()


def open_board(page, url):
    page.goto(url)
    page.wait_for_selector(".card-words:not(:has-text('Looking'))")
    page.locator(".board").scroll_into_view_if_needed()


def press(page, place):
    if page.viewport_size == PHONE:
        page.touchscreen.tap(*place)
    else:
        page.mouse.click(*place)


# --- Measuring


def hold_suggestions(page) -> list:
    """Filled with those that are asked for from now on."""
    held = []

    def hold(route):
        if 'name="do"\r\n\r\nsuggest' in (route.request.post_data or ""):
            held.append(route)
        else:
            route.continue_()

    page.route("**/measure/", hold)
    return held


def test_an_edge_that_is_found_late_does_not_replace_what_was_drawn(open_phone, site, foot):
    """Comes before those that measure these photos: the board has to be empty."""
    page = open_phone("ada", viewport=LAPTOP)
    photo = foot[0]
    open_board(page, address(site, photo))
    page.locator("label:has-text('Suggest the edge')").click()
    page.click("[data-does=whole]")
    page.locator(".board").scroll_into_view_if_needed()
    held = hold_suggestions(page)
    press(page, on_screen(page, [photo["middle"]])[0])
    until_held(page, held)
    # Two points: of a whole edge the size is asked, and its answer counts anyway.
    page.locator("label:has-text('Draw')").click()
    page.locator(".board").scroll_into_view_if_needed()
    x, y = on_screen(page, [photo["middle"]])[0]
    for place in ((x - 40, y - 40), (x + 40, y - 40)):
        press(page, place)
    drawn = outline(page)
    assert len(drawn) == 2
    with page.expect_event("requestfinished", lambda asked: asked == held[0].request):
        held[0].continue_()
    page.wait_for_timeout(300)
    assert outline(page) == drawn
    assert "Looking for the edge" not in page.inner_text(".result")


def test_an_edge_asked_for_right_after_a_change_is_shown(open_phone, site, foot):
    """The size that is asked for a moment after every change does not come before it."""
    page = open_phone("ada", viewport=LAPTOP)
    page.clock.install()
    open_board(page, address(site, foot[0]))
    page.click("[data-does=whole]")
    page.click("[data-does=circle]")  # in the middle of the photo, away from the sore
    held = hold_suggestions(page)
    press(page, on_screen(page, [foot[0]["middle"]])[0])
    until_held(page, held)
    page.clock.run_for(1000)
    held[0].continue_()
    until(page, "JSON.parse(document.querySelector('[name=outline]').value).length > 12")


@SIZES
def test_one_tap_measures_from_the_card(open_phone, site, foot, viewport):
    page = open_phone("ada", viewport=viewport)
    for photo in foot[:2]:
        open_board(page, address(site, photo))
        assert "Card found" in page.inner_text(".card-words")
        press(page, on_screen(page, [photo["middle"]])[0])
        assert area(page) == pytest.approx(photo["area"], rel=0.1)
        page.locator("button:has-text('Save')").click()
        page.wait_for_url(re.compile("/series/"))
    # The one after the other became smaller, and the page says no more than that.
    assert page.inner_text(".verdict strong") == "Between these two: smaller"
    assert not page.problems


@SIZES
def test_points_are_dragged_added_deleted_and_undone(open_phone, site, foot, viewport):
    page = open_phone("ada", viewport=viewport)
    photo = foot[1]
    open_board(page, address(site, photo))
    page.locator("label:has-text('Suggest the edge')").click()
    page.locator(".board").scroll_into_view_if_needed()
    page.click("[data-does=whole]")
    press(page, on_screen(page, [photo["middle"]])[0])
    page.wait_for_selector("[data-key=p0]")
    area(page)
    first = outline(page)
    # A handful of many points, of which each brings its neighbours along.
    assert len(first) > 24 and 6 <= page.locator(".marks .point").count() <= 10
    start = on_screen(page, [first[0]])[0]
    page.mouse.move(*start)
    page.mouse.down()
    page.mouse.move(start[0] + 15, start[1] + 9, steps=4)
    page.mouse.up()
    moved = outline(page)
    there = on_screen(page, [moved[0]])[0]
    assert there == pytest.approx((start[0] + 15, start[1] + 9), abs=1.5)
    beside = on_screen(page, [first[1], moved[1]])
    assert 0 < beside[1][0] - beside[0][0] < 15
    half = len(first) // 2
    assert moved[half - 3 : half + 3] == first[half - 3 : half + 3]
    page.click("[data-does=remove]")
    fewer = outline(page)
    assert len(first) - 12 < len(fewer) < len(first) and moved[0] not in fewer
    page.click("[data-does=insert]")
    assert len(outline(page)) == len(fewer) + 1
    for _ in range(3):
        page.click("[data-does=undo]")
    assert outline(page) == first


@SIZES
def test_drawn_round_by_hand(open_phone, site, foot, viewport):
    """Following the true edge with the mouse gives the true area."""
    page = open_phone("ada", viewport=viewport)
    photo = foot[0]
    open_board(page, address(site, photo))
    page.click("[data-does=whole]")
    page.locator("label:has-text('Draw')").click()
    page.locator(".board").scroll_into_view_if_needed()
    page.mouse.move(*on_screen(page, [photo["middle"]])[0])
    page.mouse.wheel(0, -400)
    until(page, "document.querySelector('.board').viewBox.baseVal.width < 600")
    edge = photo["outline"][:: max(1, len(photo["outline"]) // 60)]
    box = page.locator(".board").bounding_box()
    for x, y in on_screen(page, edge):
        assert 0 < x - box["x"] < box["width"] and 0 < y - box["y"] < box["height"]
    assert area_after(page, stroke, page, edge) == pytest.approx(photo["area"], rel=0.1)


@SIZES
def test_a_stroke_over_a_part_of_the_edge_takes_its_place(open_phone, site, foot, viewport):
    """Half of the true edge drawn anew, over an edge that went astray there."""
    page = open_phone("ada", viewport=viewport)
    photo = foot[0]
    open_board(page, address(site, photo))
    press(page, on_screen(page, [photo["middle"]])[0])
    area(page)
    page.click("[data-does=farther]")
    true = photo["outline"][:: max(1, len(photo["outline"]) // 60)]
    x, y = photo["middle"]
    half = len(true) // 2
    astray = [[x + 1.3 * (u - x), y + 1.3 * (v - y)] for u, v in true[1:half]]

    area_after(page, page.locator("label:has-text('Draw')").click)
    page.locator(".board").scroll_into_view_if_needed()
    drawn = [true[0], *astray, *true[half:], true[0]]
    assert area_after(page, stroke, page, drawn) > 1.2 * photo["area"]
    for line in (true[: half + 1], true[half::-1]):
        assert area_after(page, stroke, page, line) == pytest.approx(photo["area"], rel=0.1)
        assert area_after(page, page.click, "[data-does=undo]") > 1.2 * photo["area"]
    assert not page.problems


def test_measured_with_the_keyboard_alone(open_phone, site, foot):
    page = open_phone("ada", viewport=LAPTOP)
    open_board(page, address(site, foot[0]))
    page.focus("[data-key=cross]")
    page.keyboard.press("Shift+ArrowRight")
    page.focus("[data-does=circle]")
    page.keyboard.press("Enter")
    page.wait_for_selector("[data-key=p0]:focus")
    ring = outline(page)
    assert len(ring) == 12
    before = on_screen(page, ring)[0]
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Shift+ArrowDown")
    x, y = on_screen(page, outline(page))[0]
    assert (x - before[0], y - before[1]) == pytest.approx((2, 20), abs=0.5)
    page.keyboard.press("PageUp")
    assert page.evaluate("document.activeElement.getAttribute('aria-label')") == "Point 2 of 12"
    page.keyboard.press("Delete")
    assert len(outline(page)) == 11
    page.keyboard.press("Enter")
    assert len(outline(page)) == 12
    assert outline(page)[0] != ring[0]


def test_a_known_length_is_tapped_at_both_ends(open_phone, site, foot):
    page = open_phone("ada")
    photo = foot[2]
    open_board(page, address(site, photo))
    assert "No card was found" in page.inner_text(".card-words")
    page.locator(".scale-of .chips label:has-text('Known length')").tap()
    assert "Less certain" in page.inner_text("div.by-length")
    page.fill("input[name=length_mm]", "40")
    page.locator(".board").scroll_into_view_if_needed()
    x, y = photo["middle"]
    half = 20 / photo["mm_per_px"]
    for end in on_screen(page, [(x - half, y), (x + half, y)]):
        page.touchscreen.tap(*end)
    page.locator(".with-script label:has-text('Suggest')").tap()
    page.locator(".board").scroll_into_view_if_needed()
    # On the sore, but away from the ends, which a tap would take hold of.
    page.touchscreen.tap(*on_screen(page, [(x, y)])[0])
    assert area(page) == pytest.approx(photo["area"], rel=0.2)
    value, error = re.findall(r"[\d.]+", page.inner_text(".result strong"))[:2]
    assert float(error) > 0.2 * float(value)


def test_a_refusal_is_said_and_nothing_is_lost(open_phone, site, foot):
    page = open_phone("ada")
    open_board(page, address(site, foot[2]))
    page.locator("[data-does=circle]").tap()
    page.wait_for_selector(".result.refused")
    assert "No card was found" in page.inner_text(".result")
    assert len(outline(page)) == 12


# --- Comparing


def cut(page) -> int:
    return int(page.get_attribute(".divider", "aria-valuenow"))


@SIZES
def test_the_divider_follows_finger_mouse_and_keys(open_phone, site, foot, viewport):
    page = open_phone("ben", viewport=viewport)
    page.goto(series(site, "?view=over"))
    pane = page.locator(".pane")
    pane.scroll_into_view_if_needed()
    box = pane.bounding_box()
    grip = (box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    assert cut(page) == 50
    goal = (box["x"] + box["width"] * 0.25, grip[1])
    if viewport == PHONE:
        touch = page.context.new_cdp_session(page)
        for kind, places in (("Start", [grip]), ("Move", [goal]), ("End", [])):
            touch.send(
                "Input.dispatchTouchEvent",
                {"type": f"touch{kind}", "touchPoints": [{"x": x, "y": y} for x, y in places]},
            )
    else:
        page.mouse.move(*grip)
        page.mouse.down()
        page.mouse.move(*goal, steps=5)
        page.mouse.up()
    page.wait_for_selector(".divider[aria-valuenow='25']")
    clipped = page.evaluate("getComputedStyle(document.querySelector('.layer-b')).clipPath")
    assert float(re.findall(r"([\d.]+)%", clipped)[0]) == cut(page)
    page.focus(".divider")
    for key, expected in (("ArrowRight", 27), ("Shift+ArrowLeft", 17), ("End", 100), ("Home", 0)):
        page.keyboard.press(key)
        if key.startswith("Arrow") or key.startswith("Shift"):
            assert cut(page) == pytest.approx(expected, abs=1)
        else:
            assert cut(page) == expected
    assert page.get_attribute(".divider", "aria-valuetext").startswith("0% ")


def shown_at(page, of) -> np.ndarray:
    """The outline's corners on the screen."""
    return np.array(
        page.evaluate(
            """(of) => {
              const line = document.querySelector(`.outline-${of}`);
              const matrix = line.getScreenCTM();
              return [...line.points].map((point) => {
                const place = point.matrixTransform(matrix);
                return [place.x, place.y];
              });
            }""",
            of,
        )
    )


def polygon_area(points) -> float:
    x, y = np.asarray(points).T
    return abs(x @ np.roll(y, -1) - y @ np.roll(x, -1)) / 2


@SIZES
def test_both_are_shown_at_one_scale(open_phone, site, measured, viewport):
    """The painted sores are 80 and 40 mm²: on the screen too one is twice as large."""
    page = open_phone("ada", viewport=viewport)
    page.goto(series(site))
    a, b = (polygon_area(shown_at(page, of)) for of in "ab")
    assert a / b == pytest.approx(measured[0]["area"] / measured[1]["area"], rel=0.12)
    pane = page.locator(".pane").first.bounding_box()
    span = float(page.get_attribute(".compared", "data-span"))
    assert a * (span / min(pane["width"], pane["height"])) ** 2 == pytest.approx(
        measured[0]["area"], rel=0.1
    )
    # The outline lies on the dark scab, wherever the photo was moved to.
    page.locator(".compared").scroll_into_view_if_needed()
    middle = shown_at(page, "a").mean(axis=0)
    page.locator("label.tick input").evaluate("box => box.click()")
    picture = Image.open(io.BytesIO(page.screenshot())).convert("L")
    skin = middle + np.array((0, 1.6 * np.sqrt(a / np.pi)))
    tones = [picture.getpixel(tuple(int(v) for v in place)) for place in (middle, skin)]
    assert tones[0] < tones[1] - 40


def test_two_fingers_bring_both_nearer(open_phone, site, measured):
    page = open_phone("ada")
    page.goto(series(site))
    page.locator(".compared").scroll_into_view_if_needed()
    before = {of: polygon_area(shown_at(page, of)) for of in "ab"}
    box = page.locator(".pane").first.bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    touch = page.context.new_cdp_session(page)
    for kind, apart in (("Start", 20), ("Move", 30), ("Move", 40), ("End", None)):
        points = (
            []
            if apart is None
            else [{"x": x + way * apart, "y": y, "id": way + 1} for way in (-1, 1)]
        )
        touch.send("Input.dispatchTouchEvent", {"type": f"touch{kind}", "touchPoints": points})
    page.wait_for_selector(".pane.near")
    for of in "ab":
        assert polygon_area(shown_at(page, of)) / before[of] == pytest.approx(4, rel=0.15)
    # A tap becomes a click a moment after the finger has left.
    page.locator(".zooming summary").tap()
    page.locator("button:has-text('Fit')").tap()
    page.wait_for_selector(".compared:not(:has(.pane.near))")
    assert polygon_area(shown_at(page, "a")) == pytest.approx(before["a"], rel=0.01)
    page.locator("button[aria-label=Nearer]").tap()
    page.wait_for_selector(".pane.near")
    assert polygon_area(shown_at(page, "a")) == pytest.approx(2.25 * before["a"], rel=0.01)


def test_the_second_photo_is_turned_by_hand(open_phone, site, measured):
    """For a card that was laid the other way round in one of the photos."""
    page = open_phone("ada")
    page.goto(series(site))
    page.locator(".zooming summary").tap()
    page.locator("[data-turn]").scroll_into_view_if_needed()
    first, before = shown_at(page, "a"), shown_at(page, "b")
    page.locator("[data-turn]").tap()
    # A quarter clockwise: what was to the right of the middle is below it.
    middle, now = before.mean(axis=0), shown_at(page, "b")
    x, y = (before - middle).T
    assert now - now.mean(axis=0) == pytest.approx(np.column_stack([-y, x]), abs=0.5)
    assert shown_at(page, "a") == pytest.approx(first, abs=0.01)
    for _ in range(3):
        page.locator("[data-turn]").tap()
    assert shown_at(page, "b") == pytest.approx(before, abs=0.01)


def test_a_sharper_file_is_fetched_only_when_it_is_needed(open_phone, site, foot):
    page = open_phone("ada")
    page.goto(series(site, "?view=side"))
    page.wait_for_load_state("networkidle")
    picture = "document.querySelector('.laid img')"
    file_shown = f"{picture}.currentSrc.split('/').pop().split('.')[0]"
    needed = page.evaluate(f"parseInt({picture}.sizes) * devicePixelRatio")
    assert page.evaluate(file_shown) == ("800" if needed <= 800 else "1600")
    page.locator(".zooming summary").tap()
    for _ in range(4):
        page.locator("button[aria-label=Nearer]").tap()
    until(page, f"{file_shown} === '1600'")


# --- Cards on paper


def drawn_lines(pdf: bytes):
    """For each page of a PDF of Chromium's the corners of its paths, in mm, by path.

    Content streams, path operators m and l, and the matrices of cm, q and Q: ISO 32000-1, 8.3–8.5
    (from memory). One point is 1/72 inch.
    """
    pages = []
    for packed in re.findall(rb"stream\r?\n(.*?)\r?\nendstream", pdf, re.DOTALL):
        try:
            content = zlib.decompress(packed).decode("latin-1")
        except zlib.error:
            continue
        if re.match(r"[-.\d ]+ cm\n", content):
            pages.append(paths_of(content))
    return pages


def paths_of(content: str):
    now, stack, path, paths, numbers = np.eye(3), [], [], [], []
    for token in content.split():
        if re.fullmatch(r"[-+]?[\d.]+", token):
            numbers.append(float(token))
            continue
        if token == "q":
            stack.append(now)
        elif token == "Q":
            now = stack.pop()
        elif token == "cm":
            a, b, c, d, e, f = numbers[-6:]
            now = np.array([(a, b, 0), (c, d, 0), (e, f, 1)]) @ now
        elif token in ("m", "l"):
            path.append((np.array([*numbers[-2:], 1]) @ now)[:2] * 25.4 / 72)
        elif token in ("S", "f", "f*", "n"):
            if path:
                paths.append(np.array(path))
            path = []
        numbers = []
    return paths


def test_a_phone_shows_the_whole_sheet_and_prints_it(open_phone, site):
    page = open_phone("ada")
    page.goto(f"/f/{site.flock}/photos/cards/sheets/")
    ends = page.evaluate(
        """[...document.querySelectorAll(".cards-of-sheet svg")].map(
          (card) => card.getBoundingClientRect().right)"""
    )
    assert len(ends) == 12
    assert max(ends) <= PHONE["width"]
    page.evaluate("window.print = () => { document.title = 'on paper' }")
    page.get_by_role("button", name="Print").click()
    assert page.title() == "on paper"


@pytest.mark.parametrize(
    ("paper", "size_mm"),
    # ISO 216 A4; US Letter is 8.5 × 11 inches.
    [("a4", (210, 297)), ("letter", (215.9, 279.4))],
)
def test_printed_at_true_size(open_phone, site, paper, size_mm):
    page = open_phone("ada", viewport=LAPTOP)
    page.goto(f"/f/{site.flock}/photos/cards/sheets/?cards_for=bird&paper={paper}&per_sheet=10")
    pdf = page.pdf(prefer_css_page_size=True)
    boxes = re.findall(rb"/MediaBox ?\[0 0 ([\d.]+) ([\d.]+)\]", pdf)
    assert len(boxes) == 2  # twelve birds, ten on a sheet
    for box in boxes:
        assert [float(side) * 25.4 / 72 for side in box] == pytest.approx(size_mm, abs=0.3)
    sheets = drawn_lines(pdf)
    assert len(sheets) == 2
    for sheet, count in zip(sheets, (10, 2), strict=True):
        ruler = next(path for path in sheet if len(path) == 24)  # a line and eleven ticks
        assert np.ptp(ruler[:, 0]) == pytest.approx(50, abs=0.05)
        squares = [
            path
            for path in sheet
            if len(path) > 200 and np.ptp(path[:4], axis=0).max() > cards.MARKER_SIDE - 0.5
        ]
        assert len(squares) == count  # of each card the layer of markers and code
        for each in squares:
            # From the first marker's left edge to the last one's right edge, and top to bottom.
            place = np.array(cards.MARKERS)
            across = place.max(axis=0) + cards.MARKER_SIDE - place.min(axis=0)
            assert np.ptp(each, axis=0) == pytest.approx(across, abs=0.05)
        # The first marker: four corners, one side of it after the other.
        corners = squares[0][:4]
        sides = np.linalg.norm(np.diff(corners, axis=0), axis=1)
        assert sides == pytest.approx([cards.MARKER_SIDE] * 3, abs=0.02)
        edge = np.concatenate(squares)
        assert (edge > 3).all() and (edge < np.array(size_mm) - 3).all()  # printers' own margins


def test_the_sheet_on_the_screen_is_read_as_a_card(open_phone, site):
    page = open_phone("ada", viewport={"width": 1280, "height": 900})
    page.goto(
        f"/f/{site.flock}/photos/cards/sheets/?birds={site.birds['Dill']}&cards_for=feet"
        "&paper=a4&per_sheet=1"
    )
    card = page.locator(".cards-of-sheet svg").nth(1)
    card.scroll_into_view_if_needed()
    box = card.bounding_box()
    clip = {
        "x": box["x"] - 20, "y": box["y"] - 4,
        "width": box["width"] + 40, "height": box["height"] + 8,
    }  # fmt: skip
    view = read_card(Image.open(io.BytesIO(page.screenshot(clip=clip))))
    assert view.code == f"{site.birds['Dill'].replace('-', '').upper()}-R"
    # A CSS pixel is 1/96 inch.
    assert 1 / view.pixels_per_mm == pytest.approx(25.4 / 96, rel=0.01)


def test_without_script_two_photos_are_chosen_by_links(browser, site, foot):
    context = browser.new_context(java_script_enabled=False, viewport=PHONE, base_url=site.url)
    context.add_cookies(
        [{"name": "flockcare_session", "value": site.sessions["ada"], "url": site.url}]
    )
    page = context.new_page()
    page.goto(series(site))
    # On a phone one stands below the other, each as wide as the screen.
    panes = [pane.bounding_box() for pane in page.locator(".pane").all()]
    assert len(panes) == 2 and panes[0]["y"] < panes[1]["y"]
    assert [pane["width"] for pane in panes] == [PHONE["width"]] * 2
    assert not page.is_visible("[data-play]") and not page.is_visible("[data-zoom='0']")
    assert not page.is_visible(".zooming summary")  # Nothing in it does anything here.
    # What was tapped before and what is tapped now.
    for number in (0, 2):
        with page.expect_navigation():
            page.locator(".strip a").nth(number).click()
    days = [each.inner_text() for each in page.locator(".strip time").all()]
    assert [each.inner_text() for each in page.locator("figcaption strong").all()] == [
        days[0],
        days[2],
    ]
    page.click(".ways a:has-text('Divider')")
    expect(page.locator(".pane")).to_have_count(1)
    page.goto(address(site, foot[1]))
    assert "in percent" in page.inner_text("form")
    x, y = foot[1]["middle"]
    page.fill("input[name=tap_left]", f"{x / 12:.1f}")
    page.fill("input[name=tap_top]", f"{y / 9:.1f}")
    page.click("button[value=suggest]")
    assert area(page) == pytest.approx(foot[1]["area"], rel=0.1)
    context.close()

"""The drawing of a house and the what-if, on a phone and a laptop, by touch, keys and no script."""

import re

import pytest
from PIL import Image
from playwright.sync_api import expect

from tests.browser.conftest import LAPTOP, PHONE
from tests.browser.taps import until
from tests.browser.test_accessibility import problems, problems_in_both_schemes

SIZES = pytest.mark.parametrize("viewport", [PHONE, LAPTOP], ids=["phone", "laptop"])
PAGES = ["", "landing/", "what-if/", "arrange/"]


@pytest.fixture(scope="module")
def barn(site):
    """Top bar 120 cm (140 until 100 days ago), low bar 60, wood chip; hens of 2, 3.5, 2.9 kg."""
    house = site.installation.run("tests/browser/prepare_house.py", site.flock)
    return f"/f/{site.flock}/houses/{house}/"


def overflow(page) -> int:
    return page.evaluate("document.documentElement.scrollWidth - window.innerWidth")


def boxes(page, selector) -> list[dict]:
    return page.evaluate(
        """(selector) => [...document.querySelectorAll(selector)].map((node) => {
          const { x, y, width, height } = node.getBoundingClientRect();
          return { x: x + width / 2, y, width, height };
        })""",
        selector,
    )


def shown(page, selector) -> list[dict]:
    """Of the two drawings the one that this screen shows."""
    return [box for box in boxes(page, selector) if box["width"]]


@SIZES
def test_pages_fit_and_have_no_violations(open_phone, barn, viewport):
    page = open_phone("ada", viewport=viewport)
    for path in PAGES:
        page.goto(barn + path)
        page.wait_for_selector(".elevation:visible")
        assert overflow(page) <= 0
        assert not problems_in_both_schemes(page), path


@SIZES
def test_the_drawing_is_to_scale_and_its_letters_can_be_read(open_phone, barn, viewport):
    page = open_phone("ada", viewport=viewport)
    page.goto(barn + "landing/")
    page.wait_for_selector(".elevation:visible")
    (top, low) = sorted(shown(page, ".elevation .bar"), key=lambda box: box["y"])
    (floor,) = shown(page, ".elevation .floor")
    scale = page.locator(".elevation:visible").evaluate("(svg) => svg.getScreenCTM().a")
    # 120 and 60 cm high, 60 cm from each other: the same on the screen both ways.
    down, across, rest = low["y"] - top["y"], low["x"] - top["x"], floor["y"] - low["y"]
    assert down == pytest.approx(across, rel=0.02)
    assert rest == pytest.approx(down, rel=0.03)
    assert scale >= 0.99  # Letters are 12 units high.
    assert not page.locator(".elevation:visible text").evaluate_all(
        """(texts) => texts.filter((text) => {
          const box = text.getBBox(), view = text.ownerSVGElement.viewBox.baseVal;
          return box.x < view.x - 1 || box.x + box.width > view.x + view.width + 1;
        }).map((text) => text.textContent)"""
    )
    # By the letters themselves, not by what their width was taken to be.
    assert not page.locator(".elevation:visible text").evaluate_all(
        """(texts) => texts.map((text) => [text.textContent, text.getBoundingClientRect()])
          .flatMap(([one, a], n, all) => all.slice(n + 1)
            .filter(([, b]) => a.left < b.right - 1 && b.left < a.right - 1
              && a.top < b.bottom - 3 && b.top < a.bottom - 3)
            .map(([other]) => `${one} on ${other}`))"""
    )


def test_a_roost_is_dragged_by_mouse_and_by_keys(open_phone, barn):
    """Down by 20 cm with the mouse, by the scale of the drawing, then by one more with a key."""
    page = open_phone("ada", viewport=LAPTOP)
    page.goto(barn + "arrange/")
    low = page.locator(".elevation:visible a.thing[data-thing='Low bar']")
    per_cm = low.evaluate(
        "(thing) => thing.ownerSVGElement.getScreenCTM().a * thing.ownerSVGElement.dataset.scale"
    )
    bar = low.locator(".bar").bounding_box()
    x, y = bar["x"] + bar["width"] / 2, bar["y"] + bar["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + 5 * per_cm, y + 10 * per_cm)
    with page.expect_response(lambda answer: "arrange" in answer.url):
        page.mouse.move(x, y + 20 * per_cm)
        page.mouse.up()
    row = page.locator("fieldset[data-thing='Low bar']")
    assert row.locator("[data-moves=h]").input_value() == "40"
    page.wait_for_selector("#arranged text:visible:has-text('40 cm')")
    assert page.url.endswith("arrange/")  # The end of a drag is no tap on the link.
    low.focus()
    with page.expect_response(lambda answer: "arrange" in answer.url):
        page.keyboard.press("ArrowDown")
    page.wait_for_selector("#arranged text:visible:has-text('39 cm')")
    assert page.evaluate("document.activeElement.dataset.thing") == "Low bar"
    # Nothing is kept; the tests below find the house as it was.
    page.goto(barn + "landing/")
    assert "60 cm" in page.locator(".elevation:visible").text_content()


@SIZES
def test_a_new_house_is_dragged_before_it_is_saved(open_phone, site, viewport):
    """The low roost of the shed, 70 high at 75: 20 cm to the right and 10 down."""
    page = open_phone("ada", viewport=viewport)
    page.goto(f"/f/{site.flock}/houses/add/?shape=shed")
    low = page.locator("#drawn a.thing[data-thing='Low roost']")
    per_cm = low.evaluate(
        "(thing) => thing.ownerSVGElement.getScreenCTM().a * thing.ownerSVGElement.dataset.scale"
    )
    bar = low.locator(".bar").bounding_box()
    x, y = bar["x"] + bar["width"] / 2, bar["y"] + bar["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + 10 * per_cm, y)
    with page.expect_response(lambda answer: "houses/add" in answer.url):
        page.mouse.move(x + 20 * per_cm, y + 10 * per_cm)
        page.mouse.up()
    row = page.locator("fieldset[data-thing='Low roost']")
    assert float(row.locator("[data-moves=h]").input_value()) == pytest.approx(60, abs=1)
    assert float(row.locator("[data-moves=a]").input_value()) == pytest.approx(95, abs=1)
    height = row.locator("[data-moves=h]").input_value()
    page.wait_for_selector(f"#drawn text:has-text('Low roost, {height} cm')")
    with page.expect_response(lambda answer: "houses/add" in answer.url):
        page.locator("fieldset[data-thing='Third roost'] input[type=checkbox]").check()
    page.wait_for_selector("#drawn a.thing[data-thing='Third roost']")
    assert overflow(page) <= 0 and not problems(page)


def test_the_days_are_slid_through(open_phone, barn):
    page = open_phone("ada")
    page.goto(barn + "landing/")
    slider = page.locator("#step")
    assert slider.get_attribute("aria-valuetext") == "today"
    slider.focus()
    page.keyboard.press("Home")
    page.wait_for_selector("#on-the-day :text('As it was from')")
    assert "140 cm" in page.text_content(".elevation:visible")
    # 3.5 kg from 140 cm to the low bar: 80 cm, 27.5 J; later only the low bar's 60 cm, 20.6 J.
    mace = page.locator("#landings tr:has-text('Mace')").first
    expect(mace).to_contain_text("27.5 J")
    assert page.evaluate("document.activeElement.id") == "step"
    assert page.url.endswith("step=0")
    page.keyboard.press("End")
    page.wait_for_selector("#on-the-day :text('As it is today')")
    assert "120 cm" in page.text_content(".elevation:visible")
    expect(mace).to_contain_text("20.6 J")


def test_a_height_is_tried_with_a_slider(open_phone, barn):
    """Drawing, table and marks change at once, and the drawing stays in sight."""
    page = open_phone("ada")
    page.goto(barn + "what-if/")
    page.locator("summary:has-text('Heights and distances')").tap()
    page.locator("summary:has-text('Top bar')").tap()
    top = page.locator("fieldset:has(legend:has-text('Top bar'))")
    slider, field = top.locator("input[type=range]"), top.locator("input.length").first
    for control in (slider, field):
        assert control.bounding_box()["height"] >= 48
    # The way of the top bar falls at 45 degrees: 60 over 60 cm.
    assert "falls at 45° or more" in page.text_content("#scratch-result .findings")
    with page.expect_response(lambda answer: "what-if" in answer.url):
        slider.fill("95")
    page.wait_for_selector("#scratch-drawing :text('Top bar 120 → 95 cm')")
    assert field.input_value() == "95"
    page.wait_for_selector("#scratch-result .lost:has-text('falls at 45° or more')")
    assert "95 cm" in page.text_content(".elevation:visible")
    # 3.5 kg: 20.6 J over 60 cm; the low bar's 60 cm to the floor is the hardest as before.
    page.locator("summary:has-text('hardest landing')").tap()
    row = page.locator("#scratch-result tr:has-text('Mace')").inner_text()
    assert re.sub(r"\s+", " ", row) == "Mace 3.50 kg 20.6 J 20.6 J same"
    page.locator("summary:has-text('Your limit')").scroll_into_view_if_needed()
    drawing = page.locator(".elevation:visible").bounding_box()
    assert drawing["y"] >= 0
    assert drawing["y"] + drawing["height"] < 844


def test_by_keyboard_alone(open_phone, barn):
    page = open_phone("ada", viewport=LAPTOP)
    page.goto(barn + "what-if/")
    page.locator("summary:has-text('Heights and distances')").focus()
    page.keyboard.press("Enter")
    page.locator("summary:has-text('Low bar')").focus()
    page.keyboard.press("Enter")
    page.keyboard.press("Tab")
    page.keyboard.press("Control+A")
    page.keyboard.type("70")
    page.wait_for_selector("#scratch-drawing :text('Low bar 60 → 70 cm')")
    page.keyboard.press("Tab")
    page.keyboard.press("ArrowRight")
    page.wait_for_selector("#scratch-drawing :text('Low bar 60 → 71 cm')")
    # The keeper still stands where they were.
    assert page.evaluate("document.activeElement.type") == "range"
    # The address carries the scratch copy: it can be opened anew.
    until(page, "location.search.includes('71')")
    page.reload()
    assert "Low bar 60 → 71 cm" in page.inner_text("#scratch-drawing")


def test_advice_is_tried_and_a_plan_is_kept(open_phone, barn):
    page = open_phone("ada")
    page.goto(barn + "what-if/")
    assert "All 3 birds drop farther than your limit" in page.inner_text("#scratch-drawing")
    page.locator(".advice a").first.tap()
    page.wait_for_selector("#scratch-drawing :text('No bird drops farther')")
    page.locator("summary:has-text('Add a note')").tap()
    page.fill("#plan-note", "Before winter")
    page.locator("button:has-text('Save as a plan')").tap()
    page.wait_for_url(lambda url: url.endswith(barn))
    text = page.inner_text("main")
    assert "Saved as a plan" in text
    assert "Before winter" in text
    # The house itself is as it was, and is drawn on its page.
    page.wait_for_selector("[aria-label='From the side'] .elevation:visible")
    assert "120 cm" in page.text_content(".elevation:visible")
    assert overflow(page) <= 0


def test_a_thumb_hits_what_can_be_tapped(open_phone, barn):
    """44 px: Web Content Accessibility Guidelines 2.2, target size (enhanced); from memory."""
    page = open_phone("ada")
    page.goto(barn)
    page.locator("#history > summary").tap()
    small = boxes(page, ".change-day a")
    page.goto(barn + "landing/")
    small += boxes(page, ".landings th a")
    assert len(small) >= 5
    assert all(box["width"] >= 44 and box["height"] >= 44 for box in small)


def test_all_birds_of_a_house_are_ticked_at_once_and_one_left_out(open_phone, barn):
    page = open_phone("ada")
    page.goto(barn.split("/houses/")[0] + "/houses/move/")
    group = page.locator("fieldset:has(legend:text-is('Long Barn'))")
    every, boxes = group.get_by_label("All 3"), group.locator("label:not(.all) input")
    every.check()
    assert [box.is_checked() for box in boxes.all()] == [True] * 3
    boxes.first.uncheck()
    assert not every.is_checked()
    assert boxes.nth(1).is_checked()
    boxes.first.check()
    assert every.is_checked()


def test_fields_side_by_side_stand_in_one_line(open_phone, barn):
    page = open_phone("ada")
    page.goto(barn + "what-if/")
    page.locator("summary:has-text('Heights and distances')").tap()
    page.locator("summary:has-text('Top bar')").tap()
    height, distance = boxes(page, ".measures input.length")[:2]
    assert height["y"] == pytest.approx(distance["y"], abs=1)


def test_without_script(browser, site, barn):
    context = browser.new_context(java_script_enabled=False, base_url=site.url, viewport=PHONE)
    context.add_cookies(
        [{"name": "flockcare_session", "value": site.sessions["ada"], "url": site.url}]
    )
    page = context.new_page()
    page.set_default_timeout(15_000)
    page.goto(barn + "landing/?step=0")
    assert "140 cm" in page.text_content(".elevation:visible")
    page.goto(barn + "what-if/")
    page.locator("summary:has-text('Heights and distances')").click()
    page.locator("summary:has-text('Top bar')").click()
    page.locator("fieldset:has(legend:has-text('Top bar')) input.length").first.fill("100")
    page.locator("button:has-text('Show')").click()
    expect(page.locator("#scratch-drawing")).to_contain_text("Top bar 120 → 100 cm")
    context.close()


def test_on_paper_the_drawing_stands_and_the_fields_do_not(open_phone, barn):
    page = open_phone("ada")
    page.goto(barn + "what-if/")
    page.emulate_media(media="print")
    assert page.locator(".elevation:visible").is_visible()
    assert not page.locator(".scratch-form").is_visible()
    page.goto(barn + "landing/")
    assert page.locator(".elevation:visible").is_visible()
    expect(page.locator("#step")).to_be_hidden()


def test_a_house_over_time(open_phone, barn, tmp_path):
    page = open_phone("ada")
    page.goto(barn)
    drawing = page.locator(".elevation:visible")
    slider = page.locator("#step")
    newest = slider.input_value()
    assert "120 cm" in drawing.text_content()
    slider.focus()
    page.keyboard.press("Home")
    page.wait_for_selector("#on-the-day[data-step='0']")
    page.wait_for_url("**/?on=*")
    assert "140 cm" in drawing.text_content()
    assert page.evaluate("document.activeElement.id") == "step"
    began = slider.get_attribute("aria-valuetext").partition(",")[0]
    assert page.text_content("#step-says").startswith(f"As it was on {began}")
    first_day = page.url.partition("?on=")[2]
    page.click("#later")
    expect(slider).to_have_value("1")
    assert "120 cm" in drawing.text_content() and "?on=" in page.url
    page.click("#now")
    expect(slider).to_have_value(newest)
    page.wait_for_url(f"**{barn}")
    for thing in ("#step", "#earlier", "#later"):
        assert page.locator(thing).bounding_box()["height"] >= 48
    for colour, day in (("red", ""), ("blue", first_day)):
        Image.new("RGB", (400, 300), colour).save(tmp_path / f"{colour}.jpg")
        page.goto(f"{barn}photos/")
        if not page.locator(".add-photo[open]").count():
            page.click(".add-photo summary")
        page.set_input_files("#id_photos", tmp_path / f"{colour}.jpg")
        page.fill("#id_on", day)
        page.wait_for_selector(".kept-photos img")
        page.click(".add-photo button.large")
        page.wait_for_selector(".notice:has-text('Saved: 1 photo')")
        page.wait_for_load_state()
    assert page.locator(".strip time").first.text_content() == began
    assert overflow(page) <= 0 and not problems(page)
    page.goto(barn)
    page.click("#history > summary")
    page.locator(".history a[data-viewer]").first.click()
    page.wait_for_selector(".viewer-foot a")
    page.wait_for_selector(".viewer button[aria-label='Photo before'][aria-disabled=false]")
    page.keyboard.press("ArrowLeft")
    foot = page.locator(".viewer-foot").inner_text()
    assert began in foot and "The record begins" in foot
    page.keyboard.press("Escape")
    page.wait_for_selector("dialog.viewer", state="hidden")
    assert page.url.endswith(barn)
    assert not page.problems

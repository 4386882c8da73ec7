"""What is said of a bird with two taps at the head of her page."""

import pytest
from PIL import Image
from playwright.sync_api import expect

from tests.browser.conftest import LAPTOP, PHONE
from tests.browser.test_accessibility import problems_in_both_schemes

SIZES = pytest.mark.parametrize("viewport", [PHONE, LAPTOP], ids=["phone", "laptop"])


@SIZES
def test_her_photo_is_sent_as_soon_as_it_is_chosen(open_phone, site, tmp_path, viewport):
    path = tmp_path / "hen.jpg"
    colour = "#93412a" if viewport == PHONE else "#d9a75b"
    Image.new("RGB", (400, 300), colour).save(path)
    page = open_phone("ada", viewport=viewport)
    page.goto(f"/f/{site.flock}/birds/{site.birds['Dill']}/")
    page.click(".face-link")
    page.wait_for_selector("form[data-at-once]")
    expect(page.locator("form[data-at-once] button")).to_be_hidden()
    with page.expect_navigation():
        page.set_input_files("#taken", path)
    page.wait_for_selector(".bird-head img.face")
    shown = page.locator(".bird-head img.face")
    assert shown.evaluate("image => image.complete && image.naturalWidth") == 240
    box = shown.bounding_box()
    assert box["width"] == box["height"] == 72
    assert not problems_in_both_schemes(page) and not page.problems


@SIZES
def test_a_state_is_two_taps_to_begin_and_one_to_end(open_phone, site, viewport):
    page = open_phone("ada", viewport=viewport)
    page.goto(f"/f/{site.flock}/birds/{site.birds['Dill']}/")
    page.click(".state-new summary")
    assert not problems_in_both_schemes(page)
    with page.expect_navigation():
        page.click(".state-new button[value=moulting]")
    page.wait_for_selector(".state-now")
    assert page.inner_text(".state-now .tag").startswith("Moulting since")
    assert not problems_in_both_schemes(page)
    with page.expect_navigation():
        page.click(".state-now button")
    page.wait_for_selector(".state-new")
    assert not page.query_selector(".state-now") and not page.problems
    # For the next test it was a slip: the day on which it ended has one already.
    page.goto(f"/f/{site.flock}/birds/{site.birds['Dill']}/states/")
    page.click("ul.rows a.row")
    page.on("dialog", lambda dialog: dialog.accept())
    with page.expect_navigation():
        page.click("button.danger")
    assert "Nothing on record yet." in page.inner_text("main")


def focused(page) -> str:
    """The title of the mark that the keyboard is at; empty outside of the drawing."""
    return page.evaluate(
        "document.activeElement.closest('.timeline')"
        " ? document.activeElement.querySelector('title').textContent : ''"
    )


def at_the_drawing(page, site):
    """At the zoom above the timeline, from where one press of Tab leads into the drawing."""
    page.goto(f"/f/{site.flock}/birds/{site.birds['Mace']}/")
    assert page.locator(".timeline a").count() > 8
    page.focus("#tl-month")


def test_one_stop_leads_into_the_timeline_and_arrows_from_mark_to_mark(open_phone, site):
    page = open_phone("ada", viewport=LAPTOP)
    at_the_drawing(page, site)
    page.keyboard.press("Tab")
    newest = focused(page)
    assert newest and page.locator(".by-keys").evaluate("e => getComputedStyle(e).opacity") == "1"
    page.keyboard.press("ArrowLeft")
    assert focused(page) not in ("", newest)
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowRight")  # there is none after the newest
    assert focused(page) == newest
    page.keyboard.press("Home")
    oldest = focused(page)
    page.keyboard.press("ArrowDown")
    other_row = focused(page)
    assert other_row not in ("", oldest, newest)
    page.keyboard.press("ArrowUp")
    page.keyboard.press("Home")
    assert focused(page) == oldest
    # Whoever goes out of it by Tab comes back to where they were, and it stays one stop.
    page.keyboard.press("Tab")
    assert not focused(page)
    page.keyboard.press("Shift+Tab")
    assert focused(page) == oldest
    page.keyboard.press("Escape")
    assert page.evaluate("document.activeElement.id") == "tl-season"
    assert not page.problems


def test_a_timeline_of_another_time_is_one_stop_too(open_phone, site):
    page = open_phone("ada", viewport=LAPTOP)
    at_the_drawing(page, site)
    with page.expect_response("**/timeline/?*"):
        page.click("#tl-year")
    page.wait_for_selector("#tl-year[aria-current]")
    page.wait_for_selector(".timeline a[tabindex='0']")
    assert page.locator(".timeline a[tabindex='0']").count() == 1
    assert page.locator(".timeline a:not([tabindex])").count() == 0


def test_without_script_each_mark_is_a_link_and_a_stop(browser, site):
    context = browser.new_context(base_url=site.url, java_script_enabled=False)
    cookie = {"name": "flockcare_session", "value": site.sessions["ada"], "url": site.url}
    context.add_cookies([cookie])
    page = context.new_page()
    page.goto(f"/f/{site.flock}/birds/{site.birds['Mace']}/")
    assert page.locator(".timeline a[href]").count() > 8
    assert page.locator(".timeline a[tabindex], .by-keys:visible").count() == 0
    context.close()

"""The vet sheet in a real browser: choosing the days, printing it, handing out a link."""

import io
import re

import pypdf
import pytest
from playwright.sync_api import expect

from tests.browser.conftest import LAPTOP, PHONE
from tests.browser.test_accessibility import problems, problems_in_both_schemes


@pytest.fixture(scope="module")
def photos(site):
    """Three photos of Borage's left foot, two of them measured."""
    site.installation.run("tests/browser/prepare_vet.py", site.flock, site.birds["Borage"])


def sheet(site, bird="Mace", query="") -> str:
    return f"/f/{site.flock}/birds/{site.birds[bird]}/vet/{query}"


@pytest.mark.parametrize("viewport", [PHONE, LAPTOP], ids=["phone", "laptop"])
def test_no_fault_for_those_who_see_or_move_less(open_phone, site, photos, viewport):
    page = open_phone("ada", viewport=viewport)
    page.goto(sheet(site, "Borage", "?period=all"))
    assert page.evaluate("document.documentElement.scrollWidth - window.innerWidth") <= 0
    assert not problems_in_both_schemes(page)


def test_on_a_phone_an_empty_cell_is_not_named(open_phone, site, photos):
    page = open_phone("ada", viewport=PHONE)
    page.goto(sheet(site, "Borage", "?period=all"))
    page.evaluate("document.querySelectorAll('details').forEach((part) => { part.open = true; })")
    cell = page.locator(".vet-table td").last
    assert cell.is_visible()
    cell.evaluate("(cell) => { cell.textContent = ''; }")
    assert not cell.is_visible()


def test_days_of_ones_own_are_asked_for_when_wanted(open_phone, site):
    page = open_phone("ada")
    page.goto(sheet(site))
    first = page.get_by_label("From", exact=True)
    assert not first.is_visible()
    page.get_by_text("Another period").click()
    page.get_by_text("From … to …").click()
    first.fill("2026-01-01")
    with page.expect_navigation():
        page.get_by_role("button", name="Show").click()
    assert "period=own" in page.url
    assert page.get_by_label("From", exact=True).input_value() == "2026-01-01"


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_the_page_prints_without_its_frame(open_phone, site, photos, paper):
    """What a browser puts on paper, also one that is set to dark: words, and black on white."""
    page = open_phone("ada", viewport=LAPTOP, scheme="dark")
    page.goto(sheet(site, "Borage"))
    printed = pypdf.PdfReader(io.BytesIO(page.pdf(format=paper)))
    text = "\n".join(one.extract_text() for one in printed.pages)
    assert 1 <= len(printed.pages) <= 3
    assert "Vet sheet: Borage" in text and "not to scale" in text
    for words in ("Today", "Link for the vet", "Make a link", "PDF, A4"):
        assert words not in text
    page.emulate_media(media="print")
    colours = page.evaluate(
        "[getComputedStyle(document.body).backgroundColor,"
        " getComputedStyle(document.querySelector('.vet-sheet h1')).color]"
    )
    assert colours == ["rgb(255, 255, 255)", "rgb(0, 0, 0)"]


def test_measured_photos_share_one_scale_on_paper(open_phone, site, photos):
    """In each the bar of a centimetre is as long as the words say (96 px are an inch in CSS)."""
    page = open_phone("ada", viewport=LAPTOP)
    page.goto(sheet(site, "Borage"))
    said = re.search(r"([\d.]+) mm on paper are 1 cm", page.content())
    frames = page.locator("svg.vet-photo").all()
    assert len(frames) == 2
    page.emulate_media(media="print")
    for frame in frames:
        bar = frame.locator(".vet-bar path")
        wide = bar.evaluate("(bar) => bar.getBBox().width * bar.getScreenCTM().a")
        assert wide * 25.4 / 96 == pytest.approx(float(said[1]), abs=0.1)


def test_a_link_for_the_vet_from_the_first_tap_to_its_end(open_phone, browser, site):
    page = open_phone("ada")
    page.goto(sheet(site))
    page.get_by_role("link", name="Link for the vet").click()
    page.get_by_label("Without the keepers’ names").check()
    with page.expect_navigation():
        page.get_by_role("button", name="Make a link").click()
    assert not problems(page)
    link = page.get_by_label("The link to send").input_value()
    vet = browser.new_context(viewport=PHONE, java_script_enabled=False)
    theirs = vet.new_page()
    asked = []
    theirs.on("request", lambda request: asked.append(request.url))
    theirs.goto(link)
    assert theirs.get_by_role("heading", name="Vet sheet: Mace").is_visible()
    assert "Ada" not in theirs.content() and "Keeper A" in theirs.content()
    assert all(url.startswith(site.url) for url in asked)
    address = theirs.get_by_role("link", name="PDF, A4").get_attribute("href")
    file = vet.request.get(site.url + address)
    assert file.body().startswith(b"%PDF-")
    vet.close()
    page.goto(f"/f/{site.flock}/vet/")
    page.get_by_text("Opened 2 times").first.click()
    assert page.get_by_text(", the PDF").first.is_visible()
    page.get_by_role("button", name="Turn off this link").first.click()
    expect(page.get_by_text("The link is turned off.")).to_be_visible()
    again = browser.new_context(viewport=PHONE).new_page()
    assert again.goto(link).status == 410
    assert again.get_by_role("heading", name="This link no longer works").is_visible()
    assert not problems(again)
    again.context.close()


def test_the_shared_page_has_no_fault_either(open_phone, browser, site, photos):
    page = open_phone("ada")
    page.goto(sheet(site, "Borage", "?period=all"))
    page.get_by_role("link", name="Link for the vet").click()
    with page.expect_navigation():
        page.get_by_role("button", name="Make a link").click()
    link = page.get_by_label("The link to send").input_value()
    context = browser.new_context(viewport=PHONE)
    theirs = context.new_page()
    theirs.goto(link)
    assert theirs.locator(".vet-photo").count() == 3
    assert not problems_in_both_schemes(theirs)
    assert theirs.evaluate("document.documentElement.scrollWidth - window.innerWidth") <= 0
    context.close()

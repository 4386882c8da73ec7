"""Trends with three years of records, on a phone and a laptop, by touch, by keys and in print."""

import datetime as dt
import itertools
import re

import pytest

from flockcare.demo.folder import write_records
from flockcare.demo.model import live
from tests.browser.conftest import LAPTOP, PHONE
from tests.browser.test_accessibility import problems_in_both_schemes

SIZES = pytest.mark.parametrize("viewport", [PHONE, LAPTOP], ids=["phone", "laptop"])
KEY_OF_FLOCK = """
import os, sys, django
os.environ.setdefault("DJANGO_SETTINGS_MODULE", "flockcare.settings")
sys.path.insert(0, ".")
django.setup()
from flockcare.people.models import Flock
print(Flock.objects.get(name="Three Years").pk)
"""


@pytest.fixture(scope="module")
def trends(site, tmp_path_factory):
    """The address of Trends of a flock of sixteen with three years of rounds and three changes."""
    folder = tmp_path_factory.mktemp("three-years")
    write_records(live(dt.datetime.now(dt.UTC).date() - dt.timedelta(1)), folder)
    run = site.installation.run
    run(
        "manage.py", "import_records", str(folder), "--flock=Three Years", "--create", "--owner=ada"
    )
    return f"/f/{run('-c', KEY_OF_FLOCK).strip()}/trends/"


@SIZES
def test_it_fits_and_has_no_violations(open_phone, trends, viewport):
    page = open_phone("ada", viewport=viewport)
    page.goto(trends)
    page.evaluate("document.querySelectorAll('details').forEach((fold) => { fold.open = true })")
    assert page.evaluate("document.documentElement.scrollWidth - window.innerWidth") <= 0
    assert not problems_in_both_schemes(page)
    page.locator(".answer-name a").first.click()
    page.wait_for_url(re.compile(r"/trends/[0-9a-f-]{36}/"))
    page.evaluate("document.querySelectorAll('details').forEach((fold) => { fold.open = true })")
    assert page.evaluate("document.documentElement.scrollWidth - window.innerWidth") <= 0
    assert not problems_in_both_schemes(page)


@SIZES
def test_no_letter_of_a_drawing_lies_outside_it(open_phone, trends, viewport):
    page = open_phone("ada", viewport=viewport)
    page.goto(trends)
    page.evaluate("document.querySelectorAll('details').forEach((fold) => { fold.open = true })")
    outside = page.evaluate(
        """() => [...document.querySelectorAll('svg.trend text')].filter((node) => {
          const own = node.getBoundingClientRect();
          const all = node.closest('svg.trend').getBoundingClientRect();
          return own.left < all.left - 3 || own.right > all.right + 3
            || own.bottom > all.bottom + 3;
        }).map((node) => node.textContent)"""
    )
    assert page.locator("svg.trend text").count() > 40
    assert outside == []


def test_a_bar_opens_its_cases_by_touch(open_phone, trends):
    page = open_phone("ada")
    page.goto(trends)
    page.locator("summary:has-text('New cases by month')").tap()
    bar = page.locator("svg.months a[href*='months']").last
    bar.locator(".hit").tap()
    page.wait_for_url(re.compile(r"/trends/cases/\?of=months"))
    assert page.locator("h1").inner_text().startswith("May have begun in")


def test_a_change_is_reached_by_keys_alone(open_phone, trends):
    page = open_phone("ada", viewport=LAPTOP)
    page.goto(trends)
    page.locator("summary:has-text('New cases by month')").focus()
    page.keyboard.press("Enter")
    # Its line may be folded with those that show nothing; the link opens that.
    mark = page.locator("svg.months a[href='#change-2']")
    mark.focus()
    page.keyboard.press("Enter")
    page.wait_for_url(re.compile("#change-2$"))
    top = page.evaluate("document.getElementById('change-2').getBoundingClientRect().top")
    assert -1 <= top <= 800


def test_it_works_without_script_and_prints(browser, site, trends):
    context = browser.new_context(
        java_script_enabled=False, viewport=LAPTOP, base_url=site.url, color_scheme="dark"
    )
    context.add_cookies(
        [{"name": "flockcare_session", "value": site.sessions["ada"], "url": site.url}]
    )
    page = context.new_page()
    page.goto(trends)
    assert page.locator("svg.months .cases").count() > 20
    assert len(page.pdf()) > 20_000
    # As wide as paper, the axis lies close over its ranges and no word of it on another.
    page.set_viewport_size({"width": 700, "height": 1000})
    page.emulate_media(media="print")
    axis = page.locator("svg.answer-axis").first
    assert axis.bounding_box()["height"] <= 48
    boxes = [text.bounding_box() for text in axis.locator("text").all()]
    lowest = max(box["y"] for box in boxes)
    row = sorted((box["x"], box["width"]) for box in boxes if box["y"] > lowest - 4)
    assert len(row) == 7
    assert all(x + width < to for (x, width), (to, _) in itertools.pairwise(row))
    context.close()

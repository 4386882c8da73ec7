"""The demo as the README starts it, and the pictures of it in the README and the keepers' guide.

    FLOCKCARE_PICTURES=static/img/guide .venv/bin/python -m pytest tests/browser/test_demo.py

makes those pictures anew. Without the variable they are made in a folder that is thrown away.
"""

import os
from pathlib import Path

import pytest
from PIL import Image

from tests.browser.conftest import LAPTOP, PHONE, ROOT, Installation
from tests.browser.test_accessibility import problems

PASSWORD = "thistle and oats"
KEPT = ROOT / "static/img/guide"


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    installation = Installation(tmp_path_factory.mktemp("demo"))
    installation.start("--demo")
    yield installation
    installation.stop()


@pytest.fixture
def visit(browser, demo):
    contexts = []

    def signed_in(viewport):
        context = browser.new_context(
            viewport=viewport,
            base_url=demo.url,
            has_touch=viewport == PHONE,
            service_workers="block",
        )
        contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(15_000)
        page.goto("/")
        page.fill("[name=sign_in_name]", "ros")
        page.fill("[name=password]", PASSWORD)
        page.locator("main form button").click()
        page.wait_for_selector("h1:has-text('Today')")
        return page

    yield signed_in
    for context in contexts:
        context.close()


def picture(page, folder: Path, name: str) -> None:
    """What the screen shows, as it is in the README."""
    page.wait_for_load_state("networkidle")
    shot = folder / f"{name}.png"
    page.screenshot(path=shot)
    with Image.open(shot) as image:
        assert len(image.convert("L").getcolors(1 << 16)) > 16, "an empty page"
        image.convert("RGB").save(folder / f"{name}.webp", quality=82, method=6)
    shot.unlink()


def to(page, selector: str) -> None:
    page.locator(selector).first.evaluate("it => it.scrollIntoView({block: 'start'})")
    page.evaluate("scrollBy(0, -72)")


def test_a_visit_to_the_demo(visit, tmp_path):
    folder = Path(os.environ.get("FLOCKCARE_PICTURES", tmp_path))
    page = visit(PHONE)
    page.wait_for_selector("#care[hx-trigger^='every']")
    picture(page, folder, "today")

    saffron = page.locator(".standing-row:has(.level-soon, .level-now) a:has-text('Saffron')")
    assert saffron.count() == 1
    home = page.url.removesuffix("today/")
    bird = saffron.get_attribute("href").split("/birds/")[1].strip("/")
    page.goto(f"{home}birds/{bird}/check/")
    page.wait_for_selector("button:has-text('Both feet clear')")
    picture(page, folder, "check")

    page.goto(f"{home}birds/{bird}/")
    page.wait_for_selector("#care h3")
    assert page.locator("svg.timeline a").count() > 20
    to(page, "#timeline")
    picture(page, folder, "bird")

    page.goto(f"{home}photos/series/{bird}/right/")
    picture(page, folder, "series")

    page.goto(f"{home}trends/")
    page.wait_for_selector("svg")
    picture(page, folder, "trends")

    page.goto(f"{home}about/guide/")
    assert problems(page) == []
    for image in page.locator("main img").all():
        image.scroll_into_view_if_needed()
        page.wait_for_function("it => it.naturalWidth > 0", arg=image.element_handle())

    wide = visit(LAPTOP)
    wide.goto(f"{home}houses/")
    wide.locator("a:has-text('Cart Shed')").first.click()
    wide.wait_for_selector("svg")
    picture(wide, folder, "house")
    assert {shot.name for shot in folder.glob("*.webp")} == {
        shot.name for shot in KEPT.glob("*.webp")
    }

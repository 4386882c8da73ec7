"""Inviting somebody, in a real browser."""

import pytest
from playwright.sync_api import expect

from tests.browser.test_accessibility import problems


@pytest.fixture
def link_page(open_phone, site):
    def opened(script: str = ""):
        page = open_phone("ada")
        page.add_init_script(script)
        page.goto(f"/f/{site.flock}/people/")
        page.get_by_role("button", name="Make an invitation").click()
        page.get_by_text("it is not shown again").wait_for()
        return page

    return opened


def test_the_link_is_copied_and_said_to_be(link_page, site):
    page = link_page()
    page.context.grant_permissions(["clipboard-read", "clipboard-write"], origin=site.url)
    page.get_by_role("button", name="Copy").click()
    page.locator("[aria-live]", has_text="Copied").wait_for()
    link = page.get_by_label("The link to send").input_value()
    assert link.startswith(f"{site.url}/join/")
    assert page.evaluate("navigator.clipboard.readText()") == link
    assert not problems(page)


def test_another_app_is_handed_the_link(link_page):
    page = link_page(
        "Object.defineProperty(navigator, 'share', {value: async (what) => {"
        " document.title = what.url; }});"
    )
    page.get_by_role("button", name="Share").click()
    expect(page).to_have_title(page.get_by_label("The link to send").input_value())


def test_where_the_browser_can_do_neither_there_are_no_buttons(link_page):
    page = link_page(
        "for (const name of ['share', 'clipboard'])"
        " Object.defineProperty(navigator, name, {value: undefined});"
    )
    assert page.get_by_role("button", name="Copy").count() == 0
    assert page.get_by_role("button", name="Share").count() == 0
    assert page.get_by_label("The link to send").is_visible()


def test_where_copying_is_refused_the_link_is_selected(link_page):
    page = link_page(
        "Object.defineProperty(navigator, 'clipboard',"
        " {value: {writeText: () => Promise.reject(new Error('no'))}});"
    )
    page.get_by_role("button", name="Copy").click()
    page.locator("[aria-live]", has_text="copy it yourself").wait_for()
    chosen = page.evaluate("document.getElementById('link').selectionEnd")
    assert chosen == len(page.get_by_label("The link to send").input_value())

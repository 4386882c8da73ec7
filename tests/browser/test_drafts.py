"""What is typed on a form is there again after a tap on something else, until it is saved."""

import re

import pytest
from playwright.sync_api import expect

from tests.browser.taps import until

BACK = "text=What you had typed is back."


def draft_kept(page, words: str):
    """Wait until what was typed is kept; the draft as text."""
    found = "Object.entries(localStorage).filter(([key]) => key.startsWith('draft:')).flat().join()"
    until(page, f"{found}.includes({words!r})")
    return page.evaluate(found)


def test_care_that_is_being_logged_outlives_a_tap_on_today(open_phone, site):
    page = open_phone("ada")
    address = f"/f/{site.flock}/care/birds/{site.birds['Anise']}/step/?foot=left"
    page.goto(address)
    page.locator("label:has-text('Soaked')").tap()
    page.locator("summary:has-text('Amount, who, when')").tap()
    page.fill("#id_note", "Warm water, ten minutes.")
    kept = draft_kept(page, "Warm water")
    assert "csrf" not in kept
    page.locator("nav a:has-text('Today')").tap()
    expect(page).to_have_url(re.compile("/today/$"))
    page.goto(address)
    expect(page.locator(BACK)).to_be_visible()
    expect(page.locator("#id_note")).to_have_value("Warm water, ten minutes.")
    expect(page.locator("#id_note")).to_be_visible()
    expect(page.locator("label:has-text('Soaked') input")).to_be_checked()
    page.locator("button:has-text('Save')").last.tap()
    expect(page.locator(".notice.success")).to_contain_text("Saved")
    page.goto(address)
    expect(page.locator("label:has-text('Soaked') input")).not_to_be_checked()
    expect(page.locator(BACK)).to_have_count(0)


@pytest.mark.parametrize(
    ("path", "field"), [("birds/add/", "#id_name"), ("care/medicine/give/", "#id_product")]
)
def test_start_over_empties_a_form_that_came_back(open_phone, site, path, field):
    page = open_phone("ben")
    page.goto(f"/f/{site.flock}/{path}")
    page.fill(field, "Juniper")
    draft_kept(page, "Juniper")
    page.goto(f"/f/{site.flock}/today/")
    page.goto(f"/f/{site.flock}/{path}")
    expect(page.locator(field)).to_have_value("Juniper")
    page.locator("button:has-text('Start over')").tap()
    expect(page.locator(field)).to_have_value("")
    expect(page.locator(BACK)).to_have_count(0)


def test_a_bird_that_was_added_leaves_the_next_form_empty(open_phone, site):
    page = open_phone("ada")
    page.goto(f"/f/{site.flock}/birds/add/")
    page.fill("#id_name", "Juniper")
    page.locator("button:has-text('Save and add another')").tap()
    expect(page.locator("text=Juniper is in the flock.")).to_be_visible()
    expect(page.locator("#id_name")).to_have_value("")
    expect(page.locator(BACK)).to_have_count(0)


def test_a_note_on_what_happened_comes_back(open_phone, site):
    page = open_phone("ada", "houses/events/")
    page.locator(".event-kinds button").first.tap()
    expect(page).to_have_url(re.compile("/events/.*new"))
    page.wait_for_load_state()
    address = page.url
    page.fill("#id_note", "By the brook.")
    draft_kept(page, "By the brook.")
    page.goto(f"/f/{site.flock}/today/")
    page.goto(address)
    expect(page.locator("#id_note")).to_have_value("By the brook.")
    page.locator("button.large:has-text('Save')").tap()
    expect(page.locator(".notice.success")).to_contain_text("Saved")
    page.goto(address)
    expect(page.locator("#id_note")).to_have_value("By the brook.")
    expect(page.locator(BACK)).to_have_count(0)

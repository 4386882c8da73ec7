"""What is typed on a form is there again after a tap on something else, until it is saved."""

import re

import pytest
from playwright.sync_api import expect

from tests.browser.taps import BACK, opened_again, until


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


def no_draft(page) -> None:
    until(page, "!Object.keys(localStorage).some((key) => key.startsWith('draft:'))")


def test_a_plan_outlives_a_closed_tab(open_phone, site):
    page = open_phone("ada")
    address = f"/f/{site.flock}/care/birds/{site.birds['Anise']}/plan/"
    page.goto(address)
    page.locator("label:has-text('Right')").tap()
    page.locator("label:has([name=parts][value=soaked])").tap()
    page.fill("[name=every_days]", "3")
    page.locator("summary:has-text('Note')").tap()
    page.fill("#id_note", "Warm, not hot.")
    draft_kept(page, "Warm, not hot.")
    page = opened_again(page, address)
    expect(page.locator("label:has-text('Right') input")).to_be_checked()
    expect(page.locator("label:has([name=parts][value=soaked]) input")).to_be_checked()
    expect(page.locator("[name=every_days]")).to_have_value("3")
    expect(page.locator("#id_note")).to_be_visible()
    page.locator("button:has-text('Save the plan')").tap()
    expect(page.locator(".notice.success")).to_contain_text("Saved")
    no_draft(page)


def test_a_change_of_a_house_outlives_a_closed_tab_with_its_parts(open_phone, site):
    page = open_phone("ada", "houses/")
    page.locator("a:has-text('Barn')").first.tap()
    page.wait_for_url(re.compile("/houses/[0-9a-f-]+/"))
    address = re.sub("[?#].*", "", page.url) + "change/"
    page.goto(address)
    part = page.locator(".one-feature").first
    part.locator("summary").first.tap()
    part.locator("[name$=-height_cm]").fill("47")
    page.fill("[name=note]", "After the flood.")
    draft_kept(page, "After the flood.")
    page = opened_again(page, address)
    part = page.locator(".one-feature").first
    expect(part.locator("[name$=-height_cm]")).to_be_visible()
    expect(part.locator("[name$=-height_cm]")).to_have_value("47")
    page.locator("button:has-text('Save the change')").tap()
    page.wait_for_url(re.compile("/houses/[0-9a-f-]+/$"))
    no_draft(page)


def test_a_new_house_is_drawn_again_as_it_was_typed(open_phone, site):
    page = open_phone("ada")
    address = f"/f/{site.flock}/houses/add/?shape=shed"
    page.goto(address)
    page.fill("[name=name]", "Cart Shed")
    first = page.locator("#drawn").inner_html()
    page.fill("[name=t0-height_cm]", "33")
    draft_kept(page, "33")
    page = opened_again(page, address)
    expect(page.locator("[name=name]")).to_have_value("Cart Shed")
    until(page, f"document.getElementById('drawn').innerHTML !== {first!r}")
    page.locator("button:has-text('Save the house')").tap()
    expect(page.locator(".notice.success")).to_contain_text("Cart Shed is saved")
    no_draft(page)


def test_a_session_that_has_ended_loses_nothing(open_phone, site):
    page = open_phone("ada", "care/vets/add/")
    page.fill("#id_name", "The surgery")
    page.fill("#id_telephone", "01632 960001")
    page.fill("#id_note", "Sees hens.")
    draft_kept(page, "Sees hens.")
    page.context.clear_cookies(name="flockcare_session")
    page.locator("button:has-text('Save')").tap()
    page.fill("#id_sign_in_name", "ada")
    page.fill("#id_password", "straw and oats 7")
    page.locator("button:has-text('Sign in')").tap()
    expect(page.locator(BACK)).to_be_visible()
    expect(page.locator("#id_telephone")).to_have_value("01632 960001")
    page.locator("button:has-text('Save')").tap()
    expect(page.locator(".row:has-text('The surgery')")).to_be_visible()
    no_draft(page)


def test_an_old_draft_does_not_overwrite_what_another_has_saved(open_phone, site):
    ada, ben = open_phone("ada", "care/kit/add/"), open_phone("ben")
    ada.fill("#id_name", "Gauze")
    ada.locator("button:has-text('Save')").tap()
    ada.locator(".row:has-text('Gauze')").tap()
    ada.wait_for_url(re.compile("/kit/[0-9a-f-]+/$"))
    ada.fill("#id_note", "On the shelf.")
    draft_kept(ada, "On the shelf.")
    ben.goto(ada.url)
    ben.fill("#id_note", "In the drawer.")
    ben.locator("button:has-text('Save')").tap()
    ben.wait_for_url(re.compile("/kit/$"))
    ada.reload()
    expect(ada.locator("#id_note")).to_have_value("On the shelf.")
    ada.locator("button:has-text('Save')").tap()
    expect(ada.locator("h1")).to_contain_text("two versions")
    draft_kept(ada, "On the shelf.")
    ada.locator("button:has-text('Save what I chose')").tap()
    ada.wait_for_url(re.compile("/kit/$"))
    no_draft(ada)
    ada.problems.clear()  # the answer with both versions is a 409


def test_what_was_refused_is_a_draft_still(open_phone, site):
    page = open_phone("ada")
    address = f"/f/{site.flock}/care/birds/{site.birds['Clove']}/step/?foot=left"
    page.goto(address)
    page.locator("label:has-text('Soaked')").tap()
    page.locator("summary:has-text('Amount, who, when')").tap()
    page.fill("#id_note", "Warm water.")
    page.fill("#id_at", "2099-01-01T10:00")
    page.locator("button:has-text('Save')").last.tap()
    expect(page.locator("#id_at_error")).to_be_visible()
    draft_kept(page, "Warm water.")  # again: the outbox had it meanwhile
    page = opened_again(page, address)
    expect(page.locator("#id_note")).to_have_value("Warm water.")


def test_what_waits_for_signal_is_no_draft_any_more(open_phone, site):
    page = open_phone("ada")
    page.goto(f"/f/{site.flock}/care/birds/{site.birds['Lovage']}/step/?foot=left")
    page.locator("label:has-text('Soaked')").tap()
    draft_kept(page, "soaked")
    page.context.set_offline(True)
    page.locator("button:has-text('Save')").last.tap()
    expect(page.locator("text=Kept on this phone")).to_be_visible()
    no_draft(page)
    page.problems.clear()

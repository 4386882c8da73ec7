"""Without a keeper's phone: a sitter's page behind its link, and a coop sheet typed in by keys."""

import re

from playwright.sync_api import expect

from tests.browser.conftest import LAPTOP
from tests.browser.test_accessibility import problems


def test_a_sitter_ticks_off_and_both_keepers_see_it(open_phone, sitters_phone, site):
    # A dressing that was put on two weeks ago.
    site.installation.run("tests/browser/prepare_vet.py", site.flock, site.birds["Borage"])
    ada, ben = open_phone("ada", viewport=LAPTOP), open_phone("ben", "today/")
    ada.goto(f"/f/{site.flock}/sitter/")
    ada.get_by_label("Who looks after the birds?").fill("Anna")
    today = ada.evaluate("new Date().toISOString().slice(0, 10)")
    for label in ("From", "To, that day included"):
        ada.get_by_label(label, exact=True).fill(today)
    ada.get_by_role("button", name="Make a link").click()
    link = ada.get_by_label("The link to send").input_value()

    anna = sitters_phone
    anna.goto(link)
    assert anna.evaluate("document.documentElement.scrollWidth - window.innerWidth") <= 0
    assert not problems(anna)
    checked = anna.get_by_role("button", name=re.compile("^Checked ?: Borage"))
    assert checked.bounding_box()["height"] >= 48
    checked.click()
    undo = anna.get_by_role("button", name=re.compile("^Undo ?: Borage"))
    undo.click()
    anna.get_by_role("button", name=re.compile("^Checked ?: Borage")).click()
    undo.wait_for()
    ben.reload()
    assert ben.get_by_text("Anna (sitter)").is_visible()

    ada.goto(f"/f/{site.flock}/sitter/")
    ada.get_by_role("button", name="Turn off the link of Anna").click()
    assert anna.reload().status == 410
    assert anna.get_by_text("no longer works").is_visible()


def test_a_sheet_is_typed_in_by_keys_alone(open_phone, site):
    page = open_phone("ada", viewport=LAPTOP)
    page.goto(f"/f/{site.flock}/coop-sheet/type/?order=name")
    first = page.locator(".coop-row").first
    first.locator("input[type=radio]").first.focus()
    page.keyboard.press("0")
    page.keyboard.press("2")
    page.keyboard.press("y")
    page.keyboard.type("Scab, 2 mm")
    page.keyboard.press("Enter")
    page.keyboard.press("1")
    page.keyboard.press("0")
    # To the next bird without an answer about her walk, and back over what was wrong.
    page.keyboard.press("Enter")
    page.keyboard.press("2")
    page.keyboard.press("Shift+Tab")
    page.keyboard.press("Backspace")

    def row(number: int) -> list[str]:
        """Both feet, her walk and the note; empty where nothing is said."""
        filled = page.locator(".coop-row").nth(number).locator("input:checked, input[type=text]")
        return filled.evaluate_all("(all) => all.map((one) => one.value)")

    assert row(0) == ["0", "2", "yes", "Scab, 2 mm"]
    assert row(1) == ["1", "0", "", ""]
    assert row(2) == ["", "", "", ""]
    page.get_by_role("button", name="Save all").click()
    expect(page.get_by_text(re.compile("^Saved: 2 checks"))).to_be_visible()

"""The first minutes of a new family: from the first keeper's name to feet that are checked."""

from tests.browser.conftest import PHONE
from tests.browser.test_accessibility import problems_in_both_schemes

PASSWORD = "straw and oats 7"


def test_from_signing_up_to_the_first_round(browser, empty_site):
    context = browser.new_context(
        viewport=PHONE, has_touch=True, base_url=empty_site.url, service_workers="block"
    )
    page = context.new_page()
    page.set_default_timeout(15_000)
    page.goto("/")
    page.fill("[name$=sign_in_name]", "ada")
    page.locator("[name$=name]:not([name$=sign_in_name])").first.fill("Ada")
    page.fill("[name$=password]", PASSWORD)
    page.fill("[name$=password_again]", PASSWORD)
    page.locator("h2:has-text('Your flock') ~ * [name$=name]").first.fill("Brook Flock")
    page.locator("button:has-text('Start this flock')").tap()
    # Three steps, the first of which is a tap away.
    page.wait_for_selector("h2:has-text('Three steps to begin')")
    assert page.locator(".steps-of-three li").count() == 3
    assert not problems_in_both_schemes(page)
    page.locator("a.button:has-text('Add birds')").tap()
    page.fill("textarea", "Dill\nMace\nSorrel")
    page.locator("button:has-text('Preview')").tap()
    page.locator("button:has-text('Add 3 birds')").tap()
    page.wait_for_selector("text=3 birds added")
    # Then the round, and nothing of care that nobody could give yet.
    page.locator(".notice a:has-text('Today')").tap()
    page.wait_for_selector("h2:has-text('Next, the first round')")
    assert not page.is_visible("#answer") and "umblefoot" in page.inner_text("main")
    assert not problems_in_both_schemes(page)
    page.locator("button:has-text('Start the first round')").tap()
    page.wait_for_selector("h1:has-text('Dill')")
    assert "She stays due." in page.inner_text("form:has(button:has-text('Skip Dill for now'))")
    page.locator("button:has-text('Skip Dill for now')").tap()
    page.wait_for_selector("h1:has-text('Mace')")
    page.locator("button:has-text('Both feet clear')").tap()
    page.wait_for_selector("h1:has-text('Sorrel')")
    # From the first check on Today is what it always is.
    page.goto("/")
    page.wait_for_selector("#answer")
    assert page.is_visible("#answer") and not page.is_visible("text=Next, the first round")
    context.close()

"""A round without signal: bird by bird, by what the phone has kept and what waits there."""

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import PHONE
from tests.browser.line import Line
from tests.browser.taps import until
from tests.browser.test_accessibility import problems
from tests.browser.test_offline import KEPT, all_sent, sign_in, signal, waiting


@pytest.fixture
def phone(browser, coop):
    with Line(coop.installation.port) as line:
        context = browser.new_context(viewport=PHONE, has_touch=True, base_url=line.url)
        sign_in(context, coop, line, "una")
        page = context.new_page()
        page.set_default_timeout(20_000)
        page.goto(f"/f/{coop.flock}/today/")
        until(page, "navigator.serviceWorker.controller !== null")
        until(page, KEPT["lists"])
        yield page, line
        line.mend()
        context.close()


def clear(page, bird):
    expect(page.locator("h1")).to_contain_text(bird)
    page.locator("button:has-text('Both feet clear')").tap()
    expect(page.locator("main")).to_contain_text(f"{bird}: check, both feet clear")


def test_a_round_goes_on_from_bird_to_bird_with_one_tap_each(phone, coop):
    """Skipped, undone, closed, sent in the middle: what was checked here counts at once."""
    page, line = phone
    first, second, third, fourth, *_, last = sorted(coop.birds)
    signal(line, page, on=False)
    page.goto("/")
    expect(page.locator("[data-walk-count]")).to_have_text("0 of 12 checked")
    page.locator("[data-walk-next]").tap()
    clear(page, first)
    # Straight on to the next, where the last tap can be undone.
    expect(page.locator("h1")).to_contain_text(second)
    expect(page.locator("[data-walk-count]")).to_have_text("1 of 12 checked")
    assert not problems(page)
    page.locator("button:has-text('Undo')").tap()
    expect(page.locator("[data-walk-count]")).to_have_text("0 of 12 checked")
    page.goto(f"/f/{coop.flock}/check/")
    expect(page.locator("h1")).to_have_text("0 of 12 checked")
    page.locator("[data-walk-next]").tap()
    clear(page, first)
    expect(page.locator("h1")).to_contain_text(second)
    page.locator("[data-walk-skip]").tap()
    clear(page, third)
    expect(page.locator("h1")).to_contain_text(fourth)
    # The tab is closed: what is done stays so, and who was skipped is not offered again.
    context = page.context
    page.close()
    page = context.new_page()
    page.goto(f"/f/{coop.flock}/check/")
    expect(page.locator("h1")).to_have_text("2 of 12 checked")
    expect(page.locator("[data-walk-next]")).to_have_text(f"Next: {fourth}")
    expect(page.locator(f".bird-row:has-text('{first}')")).to_contain_text("✓ checked")
    expect(page.locator(f".bird-row:has-text('{second}')")).to_contain_text("skipped")
    assert not problems(page)
    # One who is taken out of turn leads back to the list.
    page.locator(f".bird-row:has-text('{last}')").tap()
    clear(page, last)
    expect(page.locator("h1")).to_have_text("3 of 12 checked")
    # What has been sent counts as before, also where the list could not be had anew.
    line.cut("GET .*/outbox/birds/", *["before"] * 20)
    assert waiting(page) == 3
    signal(line, page, on=True)
    all_sent(page)
    signal(line, page, on=False)
    page.goto(f"/f/{coop.flock}/check/")
    expect(page.locator("h1")).to_have_text("3 of 12 checked")
    page.locator("[data-walk-next]").tap()
    # With signal again the form's own page goes on in the same round.
    signal(line, page, on=True)
    page.reload()
    expect(page.locator("[data-walk-count]")).to_have_text("3 of 12 checked")
    page.locator("button:has-text('Both feet clear')").tap()
    expect(page.locator(".notice.success").first).to_contain_text(f"Saved: {fourth}")
    expect(page.locator("[data-walk-count]")).to_have_text("4 of 12 checked")

"""A fortnight of one hen, in the browsers of two keepers and of whoever sat in for them.

The records are moved back between the days, since nothing moves a served installation's clock.
"""

import subprocess
import sys

import pytest

from tests.browser.conftest import ROOT
from tests.browser.test_care import find_sore, row

EVERY, DAYS = 2, 14


@pytest.fixture
def let_pass(site):
    with subprocess.Popen(
        [sys.executable, "tests/browser/days_pass.py"],
        cwd=ROOT,
        env=site.installation.environment,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as days_pass:

        def let_pass(days: int) -> None:
            print(days, file=days_pass.stdin, flush=True)
            assert days_pass.stdout.readline() == "done\n"

        yield let_pass


def plan_two_weeks(page, site, bird: str) -> str:
    """The address of the plan."""
    page.goto(f"/f/{site.flock}/care/birds/{site.birds[bird]}/plan/?foot=left")
    for words in ("soak", "dressing", "until the day below", "Ada", "Ben"):
        page.locator(f"label:text-is('{words}'), label:has-text('{words}')").first.tap()
    page.fill("#id_every_days", str(EVERY))
    first = page.locator("#id_since").input_value()
    until = page.evaluate(
        f"new Date(Date.parse('{first}') + {DAYS} * 86400000).toISOString().slice(0, 10)"
    )
    page.fill("#id_until", until)
    page.locator("button:has-text('Save the plan')").tap()
    page.wait_for_selector("text=up to and including")
    return page.url


def link_for(page, site, name: str) -> str:
    """Of a sitter from today on, for five days."""
    page.goto(f"/f/{site.flock}/sitter/")
    page.get_by_label("Who looks after the birds?").fill(name)
    today = page.evaluate("new Date().toISOString().slice(0, 10)")
    until = page.evaluate("new Date(Date.now() + 5 * 86400000).toISOString().slice(0, 10)")
    page.get_by_label("From", exact=True).fill(today)
    page.get_by_label("To, that day included", exact=True).fill(until)
    page.get_by_role("button", name="Make a link").click()
    return page.get_by_label("The link to send").input_value()


def test_a_hen_is_soaked_and_dressed_for_a_fortnight_by_two(
    open_phone, sitters_phone, let_pass, site
):
    phones = {"Ada": open_phone("ada"), "Ben": open_phone("ben")}
    find_sore(phones["Ada"], site, "Sorrel", "Mild")
    plan = plan_two_weeks(phones["Ada"], site, "Sorrel")
    link = link_for(phones["Ada"], site, "Anna")

    def due(page):
        page.goto(f"/f/{site.flock}/today/")
        return row(page, "Sorrel").locator(".due-line:has-text('Soak, dressing')")

    # On the fifth day the sitter does it, so that the turn stays Ada's.
    turns = ("Ada", "Ben", "Ada", "Ada", "Ben", "Ada", "Ben", "Ada")
    for number, who in enumerate(turns):
        mine = phones[who]
        theirs = next(page for name, page in phones.items() if name != who)
        said = due(theirs).inner_text()
        assert f"{who}’s turn" in said and "late" not in said
        line = due(mine)
        assert "Your turn" in line.inner_text()
        if number == 2:
            sitters_phone.goto(link)
            sitters_phone.locator("button:has-text('Done')").first.tap()
            sitters_phone.wait_for_selector("button:has-text('Undo')")
            mine.reload()
        else:
            line.locator("button:has-text('Done')").tap()
        row(mine, "Sorrel").locator(".saved, .done-now").wait_for()
        assert "today" not in " ".join(due(theirs).all_inner_texts())
        let_pass(EVERY)
    # Sixteen days on: the plan is over for both, and the sitter's link since the sixth day.
    for page in phones.values():
        assert due(page).count() == 0
    assert sitters_phone.reload().status == 410
    assert sitters_phone.get_by_text("This link no longer works").is_visible()
    page.goto(plan)
    done = page.locator("h2:has-text('Done so far') + ul li").all_inner_texts()
    assert len(done) == len(turns) and not any("only" in day for day in done)

"""What tests of several pages do and wait for."""

import contextlib

import pytest
from playwright.sync_api import Error as PageLeft
from playwright.sync_api import expect

BACK = "text=What you had typed is back."


def until(page, expression: str, seconds: float = 30):
    """Playwright's own waiting evaluates text in the page, which the content policy forbids: it
    holds where the first answer is yes, and fails where one has to wait."""
    for _ in range(int(seconds / 0.05)):
        with contextlib.suppress(PageLeft):  # while it asked, the next page came
            if page.evaluate(expression):
                return
        page.wait_for_timeout(50)
    pytest.fail(f"Waited {seconds} s in vain for {expression}")


def until_held(page, held: list, count: int = 1) -> None:
    """Wait for requests that a route holds back, or whatever else comes into a list."""
    for _ in range(750):
        if len(held) >= count:
            return
        page.wait_for_timeout(20)
    raise AssertionError(f"Only {len(held)} requests came.")


def answered(page, deed) -> None:
    """Until htmx has done with the next answer, which the deed lets come."""
    page.evaluate(
        """() => { window.answered = false;
          document.addEventListener("htmx:afterRequest", () => (window.answered = true),
            { once: true }); }"""
    )
    deed()
    until(page, "window.answered")


def opened_again(page, address: str):
    """The same phone, after its tab was closed: what was typed is back."""
    fresh = page.context.new_page()
    fresh.problems = page.problems
    page.close()
    fresh.goto(address)
    expect(fresh.locator(BACK)).to_be_visible()
    return fresh


def both_feet_clear(page) -> None:
    """Also where a sore is known: then whether it has healed is asked first."""
    page.locator("button:has-text('Both feet clear')").tap()
    healed = page.locator(".healed button:has-text('Yes, healed')")
    if healed.count() and healed.is_visible():
        healed.tap()

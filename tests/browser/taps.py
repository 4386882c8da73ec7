"""What a thumb does on the form of a check, for the tests of several pages."""


def until_held(page, held: list, count: int = 1) -> None:
    """Wait for requests that a route holds back."""
    for _ in range(750):
        if len(held) >= count:
            return
        page.wait_for_timeout(20)
    raise AssertionError(f"Only {len(held)} requests came.")


def both_feet_clear(page) -> None:
    """Also where a sore is known: then whether it has healed is asked first."""
    page.locator("button:has-text('Both feet clear')").tap()
    healed = page.locator(".healed button:has-text('Yes, healed')")
    if healed.count() and healed.is_visible():
        healed.tap()

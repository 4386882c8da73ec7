"""What a thumb does on the form of a check, for the tests of several pages."""


def both_feet_clear(page) -> None:
    """Also where a sore is known: then whether it has healed is asked first."""
    page.locator("button:has-text('Both feet clear')").tap()
    healed = page.locator(".healed button:has-text('Yes, healed')")
    if healed.count() and healed.is_visible():
        healed.tap()

"""Two keepers with a phone each, at the same record and at the same list."""

import io

from PIL import Image

from tests.browser.test_accessibility import problems

# How often Today and the round ask whether they are still as they are.
LOOKS_AGAIN_MS = 30_000


def picture() -> dict:
    out = io.BytesIO()
    Image.effect_mandelbrot((400, 300), (-2.2, -1.5, 1.1, 1.5), 60).convert("RGB").save(out, "JPEG")
    return {"name": "foot.jpg", "mimeType": "image/jpeg", "buffer": out.getvalue()}


def with_all_open(page) -> None:
    page.evaluate("document.querySelectorAll('details').forEach((part) => part.open = true)")


def test_the_second_of_two_sees_both_versions_and_loses_no_photo(open_phone, site):
    ada, ben = open_phone("ada"), open_phone("ben")
    ada.goto(f"/f/{site.flock}/birds/{site.birds['Tansy']}/check/")
    ada.locator("button:has-text('Both feet clear')").tap()
    ada.locator("text=Look or mend").tap()
    ada.locator("a:has-text('Mend this check')").tap()
    ada.wait_for_url("**/edit/")
    ben.goto(ada.url)
    for page, note in ((ada, "Walks well."), (ben, "Yard wet.")):
        with_all_open(page)
        page.fill("[name=note]", note)
    ben.locator("#id_left-photos").set_input_files(picture())
    ben.wait_for_selector(".kept-photos img")
    ada.locator("button:has-text('Save the change')").tap()
    ada.wait_for_selector("text=Changed: Tansy")
    ben.locator("button:has-text('Save the change')").tap()

    ben.wait_for_selector("h1:has-text('two versions')")
    shown = ben.locator("main").inner_text()
    for words in ("Ada changed this", "Walks well.", "Yard wet.", "1 photo"):
        assert words in shown
    assert problems(ben) == []
    ben.locator("label:has-text('Walks well.')").tap()
    ben.locator("button:has-text('Save what I chose')").tap()
    ben.wait_for_selector("text=Changed: Tansy")
    assert "Walks well." in ben.locator("main").inner_text()
    assert ben.locator(".photo-row img").count() == 1
    # What was typed is saved: no draft of it comes back.
    assert (
        ben.evaluate("Object.keys(localStorage).filter((key) => key.startsWith('draft')).length")
        == 0
    )
    ben.problems.clear()

    ben.locator("a:has-text('History')").tap()
    ben.wait_for_selector("h1:has-text('history')")
    assert problems(ben) == []
    ben.locator("a:has-text('Go back to before this')").last.tap()
    ben.wait_for_selector("h1:has-text('Go back to before')")
    assert problems(ben) == []
    ben.locator("button:has-text('Go back to this')").tap()
    ben.wait_for_selector("text=Brought back.")


def test_today_shows_what_the_other_phone_has_sent(open_phone, site):
    ada, ben = open_phone("ada"), open_phone("ben")
    ada.clock.install()
    ada.reload()
    ada.wait_for_selector("#looks")
    ada.evaluate("window.stayed = true")
    ben.goto(f"/f/{site.flock}/birds/{site.birds['Lovage']}/check/")
    ben.locator("button:has-text('Both feet clear')").tap()
    ben.wait_for_selector("text=Saved: Lovage")
    ada.clock.fast_forward(LOOKS_AGAIN_MS + 1000)
    ada.wait_for_selector("#looks a:has-text('Lovage'):has-text('Ben')")
    assert ada.evaluate("window.stayed")
    # From then on it knows what it shows, and an unchanged list is left alone.
    ada.evaluate("document.querySelector('#looks').stayed = true")
    with ada.expect_response(lambda answer: "/today/?have=" in answer.url) as poll:
        ada.clock.fast_forward(LOOKS_AGAIN_MS + 1000)
    assert poll.value.status == 204
    assert ada.evaluate("document.querySelector('#looks').stayed")

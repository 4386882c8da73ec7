"""Two keepers with a phone each, at the same record and at the same list."""

import io
from concurrent.futures import ThreadPoolExecutor
from http.client import HTTPConnection
from http.cookies import SimpleCookie
from threading import Barrier
from urllib.parse import urlencode

from PIL import Image
from playwright.sync_api import expect

from tests.browser.taps import both_feet_clear, until
from tests.browser.test_accessibility import problems
from tests.people.page_forms import fields_with

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
    both_feet_clear(ada)
    ada.locator("text=View or edit").tap()
    ada.locator("a:has-text('Correct this check')").tap()
    ada.wait_for_url("**/edit/")
    ben.goto(ada.url)
    for page, note in ((ada, "Walks well."), (ben, "Yard wet.")):
        with_all_open(page)
        page.fill("[name=note]", note)
    ben.locator("#id_left-photos").set_input_files(picture())
    ben.wait_for_selector(".kept-photos img[src*='240.jpg']")
    ada.locator("button:has-text('Save the change')").tap()
    ada.wait_for_selector("text=Saved: Tansy")
    ben.locator("button:has-text('Save the change')").tap()

    ben.wait_for_selector("h1:has-text('two versions')")
    shown = ben.locator("main").inner_text()
    for words in ("Ada changed this", "Walks well.", "Yard wet.", "1 photo"):
        assert words in shown
    assert problems(ben) == []
    ben.locator("label:has-text('Walks well.')").tap()
    ben.locator("button:has-text('Save what I chose')").tap()
    ben.wait_for_selector("text=Saved: Tansy")
    expect(ben.locator("main")).to_contain_text("Walks well.")
    assert ben.locator(".photo-row img").count() == 1
    # What was typed is saved: no draft of it comes back.
    until(ben, "!Object.keys(localStorage).some((key) => key.startsWith('draft'))")
    ben.problems.clear()

    ben.locator("a:has-text('History')").tap()
    ben.wait_for_selector("h1:has-text('history')")
    assert problems(ben) == []
    ben.locator("a:has-text('Restore the version before this')").last.tap()
    ben.wait_for_selector("h1:has-text('Restore the version before')")
    assert problems(ben) == []
    ben.locator("button:has-text('Restore this version')").tap()
    ben.wait_for_selector("text=Restored.")


def test_today_shows_what_the_other_phone_has_sent(open_phone, site):
    ada, ben = open_phone("ada"), open_phone("ben")
    ada.clock.install()
    ada.goto(f"/f/{site.flock}/today/")
    ada.wait_for_selector("#looks")
    ada.evaluate("window.stayed = true")
    ben.goto(f"/f/{site.flock}/birds/{site.birds['Lovage']}/check/")
    both_feet_clear(ben)
    ben.wait_for_selector("text=Saved: Lovage")
    ada.clock.run_for(LOOKS_AGAIN_MS + 1000)
    ada.wait_for_selector("#looks a:has-text('Lovage'):has-text('Ben')")
    assert ada.evaluate("window.stayed")
    # From then on it knows what it shows, and an unchanged list is left alone. (Once it may change
    # meanwhile: a bird that another test left in somebody's hands waits again after a while.)
    # The time passes step by step: a list that has just come asks again only once it has settled.
    for _ in range(2):
        ada.evaluate("document.querySelector('#looks').stayed = true")
        with ada.expect_response(
            lambda answer: answer.url.endswith(f"/{site.flock}/today/")
        ) as poll:
            ada.clock.run_for(LOOKS_AGAIN_MS + 1000)
        if poll.value.status != 200:
            break
        until(ada, "!document.querySelector('#looks').stayed")
    assert poll.value.status == 304
    assert ada.evaluate("document.querySelector('#looks').stayed")


class Phone:
    """A client of the running server, signed in; redirects are answers like any other."""

    def __init__(self, site, keeper: str):
        self.host = site.url.removeprefix("http://")
        self.cookies = {"flockcare_session": site.sessions[keeper]}

    def ask(self, method: str, address: str, fields: dict | None = None) -> tuple[int, str]:
        connection = HTTPConnection(self.host, timeout=20)
        kept = "; ".join(f"{name}={value}" for name, value in self.cookies.items())
        headers = {"Cookie": kept, "Content-Type": "application/x-www-form-urlencoded"}
        connection.request(method, address, urlencode(fields or {}, doseq=True), headers)
        answer = connection.getresponse()
        for line in answer.headers.get_all("Set-Cookie") or ():
            self.cookies |= {name: one.value for name, one in SimpleCookie(line).items()}
        text = answer.read().decode()
        connection.close()
        return answer.status, text


def test_of_two_edits_at_the_same_moment_one_is_saved_and_one_is_asked(site):
    """Against the server as it runs: each of its threads has a connection of its own."""
    page = f"/f/{site.flock}/birds/{site.birds['Anise']}/edit/"
    phones = [Phone(site, keeper) for keeper in ("ada", "ben")]
    for number in range(8):
        typed = [f"Seen by {name}, {number}" for name in ("Ada", "Ben")]
        opened = [fields_with(phone.ask("GET", page)[1], "version") for phone in phones]
        start = Barrier(2)

        def post(which, start=start, opened=opened, typed=typed):
            start.wait(timeout=20)
            fields = opened[which] | {"traits": typed[which]}
            return phones[which].ask("POST", page, fields)

        with ThreadPoolExecutor(2) as pool:
            answers = sorted(pool.map(post, range(2)))
        assert [status for status, _ in answers] == [302, 409]
        assert all(words in answers[1][1] for words in typed)

"""No signal: what is logged waits on the phone and is stored once and only once."""

import contextlib
import sqlite3
from pathlib import Path

import pytest

from tests.browser.conftest import PHONE
from tests.browser.line import Line
from tests.browser.test_check import photo


@pytest.fixture(scope="module")
def line(site):
    with Line(site.installation.port) as line:
        yield line


@pytest.fixture
def phones(browser, site, line):
    """``phones("ada")`` is a page of a phone of its own, signed in, with the worker at work."""
    contexts = []

    def opened(keeper, *, worker=True):
        context = browser.new_context(
            viewport=PHONE,
            has_touch=True,
            base_url=line.url,
            accept_downloads=True,
            service_workers="allow" if worker else "block",
        )
        contexts.append(context)
        sign_in(context, site, line, keeper)
        page = context.new_page()
        page.set_default_timeout(10_000)
        page.goto(f"/f/{site.flock}/today/")
        if worker:
            until(page, "navigator.serviceWorker.controller !== null")
        until(page, KEPT["lists"])
        return page

    yield opened
    line.down = False
    for context in contexts:
        context.close()


def sign_in(context, site, line, keeper):
    context.add_cookies(
        [{"name": "flockcare_session", "value": site.sessions[keeper], "url": line.url}]
    )


def until(page, expression: str, seconds: float = 15):
    """Playwright's own waiting evaluates text in the page, which the content policy forbids."""
    for _ in range(int(seconds / 0.1)):
        if page.evaluate(expression):
            return
        page.wait_for_timeout(100)
    pytest.fail(f"Waited {seconds} s in vain for {expression}")


def _count(store: str) -> str:
    return """() => new Promise((resolve) => {
      const asked = indexedDB.open("flockcare");
      asked.onupgradeneeded = () => { asked.transaction.abort(); resolve(0); };
      asked.onerror = () => resolve(0);
      asked.onsuccess = () => {
        const count = asked.result.transaction("STORE").objectStore("STORE").count();
        count.onsuccess = () => { asked.result.close(); resolve(count.result); };
      };
    })""".replace("STORE", store)


KEPT = {store: _count(store) for store in ("entries", "photos", "lists")}


def waiting(page) -> int:
    return page.evaluate(KEPT["entries"])


def all_sent(page) -> None:
    until(page, f"async () => !(await ({KEPT['entries']})())")


def signal(line, page, *, on: bool) -> None:
    line.down = not on
    page.context.set_offline(not on)


def rows(site, question: str, *values) -> list[tuple]:
    path = Path(site.installation.environment["FLOCKCARE_DATA"]) / "flockcare.sqlite3"
    with contextlib.closing(sqlite3.connect(path)) as database:
        return database.execute(question, values).fetchall()


def checks(site) -> dict[str, int]:
    """Checks by key, with how many photos each has."""
    return dict(
        rows(
            site,
            "SELECT c.id, COUNT(p.id) FROM feet_check c "
            "LEFT JOIN feet_check_photos p ON p.check_id = c.id GROUP BY c.id",
        )
    )


def new_checks(site, before) -> dict[str, int]:
    return {key: count for key, count in checks(site).items() if key not in before}


def check_page(site, bird) -> str:
    return f"/f/{site.flock}/birds/{site.birds[bird]}/check/"


def log_clear(page):
    page.locator("button:has-text('Both feet clear')").tap()


def test_a_whole_round_of_twelve_birds_with_photos(phones, site, line, tmp_path):
    page, before = phones("ada"), checks(site)
    signal(line, page, on=False)
    page.goto(f"/f/{site.flock}/check/")
    for number, bird in enumerate(site.birds):
        page.locator(f".bird-row:has-text('{bird}')").tap()
        page.wait_for_selector(f"h1:has-text('{bird}')")
        if number % 3:
            log_clear(page)
        else:
            page.locator(".foot-left .over-0").tap()
            page.locator(".part-left label:has-text('Sore')").tap()
            page.set_input_files("#id_left-photos", photo(tmp_path, COLOURS[number // 3]))
            page.locator("text=will be sent with the check").wait_for()
            page.locator("button:has-text('Save check')").tap()
        page.wait_for_selector(f"text=Kept on this phone: {bird}: check")
    assert waiting(page) == 12
    assert new_checks(site, before) == {}
    page.wait_for_selector("text=12 records wait on this phone")
    signal(line, page, on=True)
    all_sent(page)
    found = new_checks(site, before)
    assert sorted(found.values()) == [0] * 8 + [1] * 4
    page.goto(f"/f/{site.flock}/today/")
    assert page.locator("#outbox-bar").is_hidden()


COLOURS = ["peru", "sienna", "olive", "indigo", "teal", "plum"]

"""The part of ``outbox_faults.py`` in a real Chromium with the app's own scripts: it logs checks,
each of which meets one fault at one step of its sending."""

import random
from collections import Counter

from playwright.sync_api import sync_playwright

from tests.browser.conftest import PHONE, chromium
from tests.browser.line import FAULTS, Line
from tests.offline.audit import stored
from tests.offline.entries import entries_for

STEPS = {
    "the page's own sending": r"POST .*/birds/.*/check/$",
    "asking who is signed in": "/outbox/hello/",
    "the record": r"POST .*/outbox/records/",
    "its photo": r"POST .*/outbox/photos/",
}
WAITING = """() => new Promise((resolve) => {
  const asked = indexedDB.open("flockcare");
  asked.onsuccess = () => {
    const count = asked.result.transaction("entries").objectStore("entries").count();
    count.onsuccess = () => { asked.result.close(); resolve(count.result); };
  };
})"""


class Chromium:
    """A phone with the app open, on a line that meets chosen faults."""

    def __init__(self, browser, line, prepared):
        self.line, self.prepared = line, prepared
        context = browser.new_context(viewport=PHONE, has_touch=True, base_url=line.url)
        session = {"name": "flockcare_session", "value": prepared["sessions"]["ada"]}
        context.add_cookies([{**session, "url": line.url}])
        self.page = context.new_page()
        self.page.set_default_timeout(20_000)
        self.page.goto(f"/f/{prepared['flock']}/today/")
        self.until("navigator.serviceWorker.controller !== null")

    def until(self, expression: str) -> None:
        for _ in range(300):
            if self.page.evaluate(expression):
                return
            self.page.wait_for_timeout(100)
        raise TimeoutError(expression)

    def log(self, bird: str, photo: bytes, *faults: tuple[str, str]) -> None:
        """One check with a photo; to get to the later steps the page's own sending fails too."""
        self.page.goto(f"/f/{self.prepared['flock']}/birds/{self.prepared['birds'][bird]}/check/")
        self.line.cut(r"POST .*/photos/add/", "before")
        for step, fault in faults:
            self.line.cut(STEPS[step], fault)
        self.page.locator(".foot-left .over-0").tap()
        self.page.locator(".part-left label:has-text('Mild')").tap()
        upload = {"name": "foot.jpg", "mimeType": "image/jpeg", "buffer": photo}
        self.page.set_input_files("#id_left-photos", upload)
        self.page.locator("text=will be sent with the check").wait_for()
        self.page.locator("button:has-text('Save check')").tap()
        self.page.wait_for_url(lambda url: "/birds/" not in url)
        for _ in range(120):
            if not self.page.evaluate(WAITING):
                return
            self.page.evaluate("window.dispatchEvent(new Event('online'))")
            self.page.wait_for_timeout(250)
        raise TimeoutError("It was not sent.")


def plans_for(*, short: bool) -> list[list[tuple[str, str]]]:
    """For each check the faults that it meets, as (step, fault)."""
    dice, first = random.Random(7), "the page's own sending"
    plans = [[(step, fault)] for step in STEPS for fault in FAULTS]
    for plan in plans:
        if plan[0][0] != first:
            plan.insert(0, (first, "before"))
    if short:
        return dice.sample(plans, 2)
    return plans + [
        [(step, fault) for step in STEPS for fault in dice.choices(FAULTS, k=3)] for _ in range(10)
    ]


def in_chromium(installation, prepared, *, short: bool) -> dict:
    plans, names = plans_for(short=short), list(prepared["birds"])
    entries = entries_for(names, len(plans), 99)
    before = stored(installation)
    with sync_playwright() as playwright, Line(installation.port) as line:
        browser = playwright.chromium.launch(
            executable_path=chromium(), args=["--no-sandbox", "--disable-dev-shm-usage"]
        )
        phone = Chromium(browser, line, prepared)
        for number, (plan, entry) in enumerate(zip(plans, entries, strict=True)):
            (photo,) = entry.photos.values()
            phone.log(names[number % len(names)], photo, *plan)
        met = Counter(line.met)
        browser.close()
    now = stored(installation)
    earlier = {photo["key"] for photo in before["photos"]}
    checks = {row[0] for row in now["check"]} - {row[0] for row in before["check"]}
    photos = [photo for photo in now["photos"] if photo["key"] not in earlier]
    wrong = []
    if len(checks) != len(plans) or len(photos) != len(plans):
        wrong.append(f"{len(plans)} checks logged, {len(checks)} stored, {len(photos)} photos")
    if sorted(record for photo in photos for record in photo["records"]) != sorted(checks):
        wrong.append("photos are not with their checks")
    return {
        "met": met,
        "logged": 2 * len(plans),
        "acknowledged": 2 * len(plans),
        "stored": len(checks) + len(photos),
        "wrong": wrong,
        "now": now,
    }

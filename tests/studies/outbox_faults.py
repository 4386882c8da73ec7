"""How the outbox and its server bear faults: every acknowledged record stored, none doubled.

.venv/bin/python tests/studies/outbox_faults.py           about five minutes
.venv/bin/python tests/studies/outbox_faults.py --short   half a minute

A real installation on SQLite, as `manage.py up` serves it. First twenty phones that speak the
outbox's protocol send checks with photos over bad lines while the server is killed (SIGKILL) and
started again. Then a real Chromium with the app's own scripts logs checks, each of which meets one
fault at one step of its sending. Prints one table; ends with an error if anything was lost or
doubled.
"""

import argparse
import json
import random
import signal
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from playwright.sync_api import sync_playwright  # noqa: E402

from tests.browser.conftest import PHONE, Installation, chromium  # noqa: E402
from tests.browser.line import FAULTS, Line  # noqa: E402
from tests.offline.phones import Phone, entries_for, losses_and_doubles, stored  # noqa: E402

PHONES = 20
STEPS = {
    "the page's own sending": r"POST .*/birds/.*/check/$",
    "asking who is signed in": "/outbox/hello/",
    "the record": r"POST .*/outbox/records/",
    "its photo": r"POST .*/outbox/photos/",
}
MEANT = {
    "before": "cut before it reaches the server",
    "after": "cut after the server stored it",
    "half": "answer breaks off in the middle",
    "trouble": "503 from a server in trouble",
    "strange": "page of a strange network",
}


def killed(installation, prepared, *, each: int, kills: int, chance: float, seed: int) -> dict:
    folder, dice = installation.environment["FLOCKCARE_DATA"], random.Random(seed)
    before = stored(folder)
    birds, sessions = list(prepared["birds"].values()), list(prepared["sessions"].values())
    with Line(installation.port) as line:
        line.chance, line.dice = chance, dice
        phones = [
            Phone(
                int(line.url.rsplit(":", 1)[1]),
                prepared["flock"],
                sessions[number % len(sessions)],
                entries_for(birds, each, seed=1000 * seed + number),
            )
            for number in range(PHONES)
        ]
        for phone in phones:
            phone.start()
        done = 0
        while done < kills and any(phone.is_alive() for phone in phones):
            time.sleep(dice.uniform(0.3, 1.5))
            installation.process.send_signal(signal.SIGKILL)
            installation.process.wait()
            installation.start()
            done += 1
        for phone in phones:
            phone.join(timeout=300)
        met = Counter(line.met)
    entries = [entry for phone in phones for entry in phone.entries]
    now = stored(folder)
    return {
        "kills": done,
        "met": met,
        "failed": sum(phone.failures for phone in phones),
        "logged": 2 * len(entries),
        "acknowledged": sum(len(entry.acknowledged) for entry in entries),
        "stored": sum(len(now[kind]) - len(before[kind]) for kind in ("checks", "photos")),
        "wrong": losses_and_doubles(folder, before, phones)
        + [reason for phone in phones for reason in phone.refused],
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
        self.page.locator(".part-left label:has-text('Sore')").tap()
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


def in_chromium(installation, prepared, *, short: bool) -> dict:
    folder, dice = installation.environment["FLOCKCARE_DATA"], random.Random(7)
    before, first = stored(folder), "the page's own sending"
    plans = [[(step, fault)] for step in STEPS for fault in FAULTS]
    for plan in plans:
        if plan[0][0] != first:
            plan.insert(0, (first, "before"))
    if short:
        plans = dice.sample(plans, 2)
    else:
        plans += [
            [(step, fault) for step in STEPS for fault in dice.choices(FAULTS, k=3)]
            for _ in range(10)
        ]
    with sync_playwright() as playwright, Line(installation.port) as line:
        browser = playwright.chromium.launch(
            executable_path=chromium(), args=["--no-sandbox", "--disable-dev-shm-usage"]
        )
        phone = Chromium(browser, line, prepared)
        names = list(prepared["birds"])
        photos = [
            photo for entry in entries_for(names, len(plans), 99) for photo in entry.photos.values()
        ]
        for number, plan in enumerate(plans):
            phone.log(names[number % len(names)], photos[number], *plan)
        met = Counter(line.met)
        browser.close()
    now = stored(folder)
    checks = [row for row in now["checks"] if row not in before["checks"]]
    pairs = [row for row in now["photos"] if row not in before["photos"]]
    wrong = []
    if len(checks) != len(plans) or len(pairs) != len(plans):
        wrong.append(f"{len(plans)} checks logged, {len(checks)} stored, {len(pairs)} photos")
    if {check for _, check in pairs} != {key for (key,) in checks}:
        wrong.append("photos are not with their checks")
    return {
        "met": met,
        "logged": 2 * len(plans),
        "acknowledged": 2 * len(plans),
        "stored": len(checks) + len(pairs),
        "wrong": wrong,
    }


def report(phones: dict, browser: dict) -> None:
    print(f"{'fault':<38}{'20 phones':>12}{'Chromium':>12}")
    for fault in FAULTS:
        print(f"{MEANT[fault]:<38}{phones['met'][fault]:>12}{browser['met'][fault]:>12}")
    print(f"{'server killed (SIGKILL) and restarted':<38}{phones['kills']:>12}{0:>12}")
    print(f"{'requests that failed by that':<38}{phones['failed']:>12}{'':>12}")
    for what in ("logged", "acknowledged", "stored"):
        print(f"{'checks and photos ' + what:<38}{phones[what]:>12}{browser[what]:>12}")
    print(f"{'lost, doubled or without record':<38}", end="")
    print(f"{len(phones['wrong']):>12}{len(browser['wrong']):>12}")
    faults = phones["met"].total() + browser["met"].total() + phones["kills"]
    print(f"\nFaults tried: {faults}")


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--short", action="store_true", help="half a minute, for every run")
    short = parser.parse_args().short
    with tempfile.TemporaryDirectory() as folder:
        installation = Installation(Path(folder))
        installation.run("manage.py", "up", "--prepare-only")
        prepared = json.loads(installation.run("tests/browser/prepare.py"))
        installation.start()
        try:
            size = {"each": 1, "kills": 1} if short else {"each": 12, "kills": 12}
            phones = killed(installation, prepared, chance=0.25, seed=1, **size)
            browser = in_chromium(installation, prepared, short=short)
        finally:
            installation.stop()
    report(phones, browser)
    for wrong in phones["wrong"] + browser["wrong"]:
        print("WRONG:", wrong)
    return 1 if phones["wrong"] or browser["wrong"] else 0


if __name__ == "__main__":
    sys.exit(main())

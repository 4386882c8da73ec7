"""From `git clone` to the end of the first round, for a family of three, as a script does it.

    .venv/bin/python tests/bench/first_minutes.py            some minutes; prints one table
    .venv/bin/python tests/bench/first_minutes.py --write    and keeps the table beside this file

A clone of this repository is installed as the README says, into a folder that is thrown away; the
packages come from the network or pip's cache. Then three Chromiums are a laptop and two phones: the
first keeper sets up, adds eight birds and makes two invitations, the others take them, and the
three do the first round together, all feet clear.

The table has the time by the clock and, since a script types at once, what a person would need for
the same keys and taps by the keystroke-level model: 0.28 s a key, 1.1 s to point at something, and
1.35 s to think before each tap. Source: Card, Moran & Newell (1980), The keystroke-level model for
user performance time with interactive systems; from memory. A check of a bird in hand takes a
keeper longer than its tap: that is not in it.
"""

import argparse
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from playwright.sync_api import sync_playwright  # noqa: E402

from tests.browser.conftest import LAPTOP, PHONE, chromium  # noqa: E402
from tests.running.served import free_port  # noqa: E402

TABLE = Path(__file__).with_suffix(".txt")
KEY, POINT, THINK = 0.28, 1.1, 1.35
BIRDS = ("Dill", "Mace", "Sorrel", "Fennel", "Tansy", "Borage", "Anise", "Clove")
PASSWORD = "straw and oats 7"


class Times:
    """What each step took by the clock, and what was typed and tapped in it."""

    def __init__(self):
        self.rows, self.keys, self.taps, self.began = [], 0, 0, time.monotonic()

    def type(self, page, field: str, text: str) -> None:
        page.locator(f"[name={field}]").fill(text)
        self.keys += len(text)
        self.taps += 1

    def tap(self, place) -> None:
        place.click()
        self.taps += 1

    def done(self, step: str) -> None:
        now = time.monotonic()
        self.rows.append((step, now - self.began, self.keys, self.taps))
        print(f"{step}: {now - self.began:.0f} s", flush=True)
        self.keys, self.taps, self.began = 0, 0, now

    def table(self) -> str:
        head = f"{'step':34} {'clock s':>8} {'keys':>5} {'taps':>5} {'by hand s':>10}"
        lines, sums = [head], [0.0, 0, 0, 0.0]
        for step, seconds, keys, taps in self.rows:
            hand = keys * KEY + taps * (POINT + THINK)
            numbers = seconds, keys, taps, hand
            sums = [one + more for one, more in zip(sums, numbers, strict=True)]
            lines.append(_line(step, *numbers))
        lines.append(_line("together", *sums))
        return "\n".join(lines) + "\n"


def _line(step: str, seconds: float, keys: int, taps: int, hand: float) -> str:
    return f"{step:34} {seconds:8.0f} {keys:5} {taps:5} {hand:10.0f}"


def install(times: Times, clone: Path) -> None:
    run = subprocess.run
    run(["git", "clone", "-q", str(ROOT), str(clone)], check=True)
    times.done("git clone")
    run([sys.executable, "-m", "venv", ".venv"], cwd=clone, check=True)
    pip = [".venv/bin/pip", "install", "-q", "--disable-pip-version-check"]
    run([*pip, "-r", "requirements.txt"], cwd=clone, check=True)
    times.done("install the packages")


def start(times: Times, clone: Path, data: Path) -> tuple[subprocess.Popen, str]:
    around = {name: text for name, text in os.environ.items() if not name.startswith("FLOCKCARE_")}
    port = free_port()
    process = subprocess.Popen(
        [".venv/bin/python", "manage.py", "up", "--port", str(port)],
        cwd=clone,
        env={**around, "FLOCKCARE_DATA": str(data)},
        stdout=subprocess.PIPE,
        text=True,
    )
    for line in process.stdout:
        if "Stop with" in line:
            times.done("manage.py up, the first time")
            return process, f"http://127.0.0.1:{port}"
    raise SystemExit("The server did not start.")


def new_keeper(times: Times, page, name: str, form: str = "") -> None:
    times.type(page, f"{form}name", name)
    times.type(page, f"{form}sign_in_name", name.lower())
    times.type(page, f"{form}password", PASSWORD)
    times.type(page, f"{form}password_again", PASSWORD)


def set_up(times: Times, page) -> str:
    """The address of the flock."""
    page.goto("/")
    new_keeper(times, page, "Ada", "keeper-")
    times.type(page, "flock-name", "Brook Flock")
    times.tap(page.get_by_role("button", name="Start this flock"))
    page.wait_for_url("**/today/")
    times.done("the first keeper and the flock")
    home = page.url.removesuffix("today/")
    times.tap(page.get_by_role("link", name="Add birds"))
    page.wait_for_url("**/add-many/")
    field = page.locator("main textarea")
    field.fill("\n".join(BIRDS))
    times.keys += len("\n".join(BIRDS))
    times.tap(page.get_by_role("button", name="Preview"))
    times.tap(page.get_by_role("button", name=f"Add {len(BIRDS)} birds"))
    page.wait_for_url("**/birds/")
    times.done(f"{len(BIRDS)} birds")
    return home


def invite(times: Times, page, home: str, others) -> None:
    for other, name in others:
        page.goto(f"{home}people/")
        times.tap(page.get_by_role("button", name="Make an invitation"))
        other.goto(page.get_by_label("The link to send").input_value())
        new_keeper(times, other, name)
        times.tap(other.locator("main form button").last)
        other.wait_for_url("**/today/")
    times.done("two invitations, taken")


def first_round(times: Times, pages, home: str) -> None:
    first, *others = pages
    first.goto(f"{home}today/")
    times.tap(first.get_by_role("button", name="Start the first round"))
    for other in others:
        other.goto(f"{home}today/")
        times.tap(other.locator(".round-card button"))
    seen = []
    while len(seen) < len(BIRDS):
        for page in pages:
            clear = page.get_by_role("button", name="Both feet clear")
            if clear.count():
                seen.append(page.locator("h1").inner_text())
                times.tap(clear)
                page.get_by_text(f"Saved: {seen[-1].strip()},").wait_for()
    assert len(set(seen)) == len(BIRDS), seen
    first.goto(f"{home}today/")
    assert first.get_by_text("Checked today").count()
    times.done("the first round, by three")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--write", action="store_true", help="keep the table beside this file")
    parser.add_argument("--installed", action="store_true", help="without clone and packages")
    chosen = parser.parse_args()
    times = Times()
    with tempfile.TemporaryDirectory() as name, sync_playwright() as playwright:
        clone = Path(name, "clone")
        if chosen.installed:
            clone = ROOT
        else:
            install(times, clone)
        process, url = start(times, clone, Path(name, "data"))
        browser = playwright.chromium.launch(executable_path=chromium(), args=["--no-sandbox"])
        try:
            pages = [
                browser.new_page(base_url=url, viewport=screen) for screen in (LAPTOP, PHONE, PHONE)
            ]
            for page in pages:
                page.set_default_timeout(120_000)
            home = set_up(times, pages[0])
            invite(times, pages[0], home, zip(pages[1:], ("Ben", "Cal"), strict=True))
            first_round(times, pages, home)
        finally:
            browser.close()
            process.terminate()
            process.wait()
    print(times.table())
    if chosen.write:
        TABLE.write_text(times.table())


if __name__ == "__main__":
    main()

"""How many words and controls the most used pages show before anything is opened.

    .venv/bin/python tests/bench/words.py                makes the demo; prints one table
    .venv/bin/python tests/bench/words.py --at ADDRESS   of a demo that is served already
    .venv/bin/python tests/bench/words.py --write        and keeps the table beside this file

Counted by a Chromium at 390 x 844: the words that are visible in the page's own part (without the
bar of the app), text in drawings included, and the links, buttons and fields that the Tab key stops
at: a drawing that arrows lead through is one.
"""

import argparse
import contextlib
import sys
import tempfile
from pathlib import Path
from urllib.parse import urljoin

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from playwright.sync_api import sync_playwright

from tests.browser.conftest import PHONE, Installation, chromium
from tests.browser.test_demo import sign_in

TABLE = Path(__file__).with_suffix(".txt")
BIRD, HOUSE = "Saffron", "Cart Shed"
# {name: address in the flock}; {bird}, {house}, {case}, {photo}, {change} are found in the pages.
PAGES = {
    "Today": "today/",
    "Birds": "birds/",
    "Bird": "birds/{bird}/",
    "Check, pick the bird": "check/",
    "Check": "birds/{bird}/check/",
    "Round": "round/",
    "Case": "{case}",
    "Care of a bird": "care/birds/{bird}/",
    "Log care": "care/birds/{bird}/step/",
    "New care plan": "care/birds/{bird}/plan/",
    "Photo series": "photos/series/{bird}/right/",
    "Photo": "{photo}",
    "Photos to sort": "sort/",
    "Houses": "houses/",
    "House": "{house}",
    "Landings": "{house}landing/",
    "House, something changed": "{house}change/",
    "What if": "{house}what-if/",
    "Trends": "trends/",
    "Trends, one change": "{change}",
    "Sheet for the vet": "birds/{bird}/vet/",
    "More": "more/",
    "Settings": "settings/",
}
COUNTED = """() => {
  const main = document.querySelector("main"), shown = (part) => part.checkVisibility({
    checkOpacity: true, checkVisibilityCSS: true, contentVisibilityAuto: false });
  const walk = document.createTreeWalker(main, NodeFilter.SHOW_TEXT), words = [];
  while (walk.nextNode()) {
    const { parentElement: around, data } = walk.currentNode;
    if (around.closest("script, style, option, title, desc, .visually-hidden")) continue;
    if (!shown(around)) continue;
    words.push(...data.split(/\\s+/).filter((word) => /[\\p{L}\\p{N}]/u.test(word)));
  }
  const controls = main.querySelectorAll(
    "a[href], button, input:not([type=hidden]), select, textarea, summary");
  const stops = (part) => part.tabIndex >= 0 && shown(part);
  return [words.length, [...controls].filter(stops).length];
}"""


def addresses(page, home: str) -> dict[str, str]:
    """{page: its address in the demo flock}."""

    def where(of: str, links: str) -> str:
        page.goto(f"{home}{of}")
        return page.locator(f"main {links}").first.get_attribute("href")

    bird = where("birds/", f"a:has-text('{BIRD}')").split("/birds/")[1].strip("/")
    of_photo = "a[href*='/photos/']:not([href*='/series/'])"
    found = {
        "bird": bird,
        "case": where(f"birds/{bird}/", f"a[href*='/care/birds/{bird}/right/']"),
        "photo": where(f"birds/{bird}/check/", of_photo),
        "house": where("houses/", f"a[href*='/houses/']:has-text('{HOUSE}')"),
        "change": where("trends/", "a[href*='/trends/'][href*='/20']"),
    }
    return {name: urljoin(home, address.format(**found)) for name, address in PAGES.items()}


def count(page, home: str) -> dict[str, tuple[int, int]]:
    """{page: (words, controls)}."""
    counted = {}
    for name, address in addresses(page, home).items():
        answer = page.goto(address)
        assert answer.ok, (name, answer.status)
        page.wait_for_load_state("networkidle")
        counted[name] = tuple(page.evaluate(COUNTED))
    return counted


def table(counted: dict[str, tuple[int, int]]) -> str:
    rows = [f"{name:26} {words:>6} {controls:>9}" for name, (words, controls) in counted.items()]
    words, controls = (sum(each) for each in zip(*counted.values(), strict=True))
    head = f"{'page':26} {'words':>6} {'controls':>9}"
    return "\n".join([head, *rows, f"{'together':26} {words:>6} {controls:>9}"]) + "\n"


@contextlib.contextmanager
def demo(at: str | None):
    """A browser, and the address of a demo: of this one, else of one that is made for it."""
    with contextlib.ExitStack() as stack:
        if not at:
            folder = stack.enter_context(tempfile.TemporaryDirectory())
            installation = Installation(Path(folder))
            stack.callback(installation.stop)
            installation.start("--demo")
            at = installation.url
        playwright = stack.enter_context(sync_playwright())
        browser = playwright.chromium.launch(executable_path=chromium(), args=["--no-sandbox"])
        stack.callback(browser.close)
        yield browser, at


def signed_in(browser, address: str, **more):
    """A page at Today of the demo flock."""
    more = {"viewport": PHONE, "service_workers": "block"} | more
    page = browser.new_page(base_url=address, **more)
    sign_in(page)
    return page


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--at", help="the address of a demo that is served")
    parser.add_argument("--write", action="store_true", help=f"keep the table in {TABLE.name}")
    chosen = parser.parse_args()
    with demo(chosen.at) as (browser, address):
        page = signed_in(browser, address)
        said = table(count(page, page.url.removesuffix("today/")))
    print(said, end="")
    if chosen.write:
        TABLE.write_text(said)


if __name__ == "__main__":
    main()

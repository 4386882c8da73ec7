"""Pictures of the most used pages of the demo at three widths, light and dark, to be looked at.

    .venv/bin/python tests/bench/pictures.py FOLDER                makes the demo
    .venv/bin/python tests/bench/pictures.py FOLDER --at ADDRESS   of a demo that is served already

Each page stands in FOLDER as a whole, PAGE-WIDTH-SCHEME.png; says what is wider than the screen.
"""

import argparse
import itertools
import re
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.bench.words import addresses, demo, signed_in
from tests.browser.conftest import LAPTOP, PHONE

TABLET = {"width": 820, "height": 1180}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("--at", help="the address of a demo that is served")
    parser.add_argument("--only", default="", help="pages whose name has this in it")
    chosen = parser.parse_args()
    chosen.folder.mkdir(parents=True, exist_ok=True)
    with demo(chosen.at) as (browser, address):
        for screen, scheme in itertools.product((PHONE, TABLET, LAPTOP), ("light", "dark")):
            page = signed_in(browser, address, viewport=screen, color_scheme=scheme)
            of = addresses(page, page.url.removesuffix("today/"))
            for name, where in of.items():
                if chosen.only.lower() not in name.lower():
                    continue
                page.goto(where)
                page.wait_for_load_state("networkidle")
                if page.evaluate("document.documentElement.scrollWidth > innerWidth"):
                    print(f"{name} is wider than {screen['width']} px")
                file = f"{re.sub(r'[^a-z]+', '-', name.lower())}-{screen['width']}-{scheme}.png"
                page.screenshot(path=chosen.folder / file, full_page=True)
            page.close()


if __name__ == "__main__":
    main()

"""Nothing moves after it was painted (layout shift as browsers count it)."""

import pytest

from tests.browser.conftest import LAPTOP, PHONE

# WICG, Layout Instability: a window's score is the sum of its shifts. All of a page's are summed
# here, which is never less. What moves within half a second after a tap was asked for.
COUNT = """
window.shifts = [];
new PerformanceObserver((list) => {
  for (const entry of list.getEntries()) {
    if (entry.hadRecentInput) continue;
    const moved = entry.sources.map(({ node }) => node?.parentElement?.outerHTML.slice(0, 80));
    window.shifts.push({ value: entry.value, moved });
  }
}).observe({ type: "layout-shift", buffered: true });
"""
MOST = 0.02
PIECES = {
    "today": "f/{flock}/today/",
    "bird": "f/{flock}/birds/{bird}/",
    "check": "f/{flock}/birds/{bird}/check/",
}


def shifts_of(page, address):
    page.goto(address, wait_until="networkidle")
    # What is far down is loaded when it comes into sight.
    page.evaluate("scrollTo(0, document.documentElement.scrollHeight)")
    page.wait_for_timeout(500)
    return page.evaluate("window.shifts")


@pytest.mark.parametrize("viewport", [PHONE, LAPTOP], ids=["phone", "laptop"])
def test_nothing_moves_after_it_was_painted(site, open_phone, viewport):
    page = open_phone("ada", viewport=viewport)
    page.context.add_init_script(COUNT)
    for name, address in PIECES.items():
        shifts = shifts_of(page, "/" + address.format(flock=site.flock, bird=site.birds["Mace"]))
        assert sum(shift["value"] for shift in shifts) <= MOST, (name, shifts)


def test_a_piece_that_comes_late_would_be_counted(site, open_phone):
    page = open_phone("ada")
    page.context.add_init_script(COUNT)
    page.goto(f"/f/{site.flock}/today/", wait_until="networkidle")
    page.evaluate(
        """() => new Promise((done) => setTimeout(() => {
          const late = document.createElement("div");
          late.style.height = "120px";
          document.querySelector("main").prepend(late);
          requestAnimationFrame(() => setTimeout(done, 300));
        }, 100))"""
    )
    assert sum(shift["value"] for shift in page.evaluate("window.shifts")) > MOST

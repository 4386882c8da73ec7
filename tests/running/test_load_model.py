"""The load model on paper: its figures follow from what was measured, by hand as by script."""

import math

import pytest

from tests.bench import load

PAGES = [page for page in load.WEEK if not page.startswith("photo")]


@pytest.fixture
def measured():
    """Every request takes 10 ms here and 4 ms in the database; a photo is 2 MB."""
    row = {"page processor": 10.0, "database processor": 4.0, "flocks": 1000, "birds": 12}
    return {
        "grid": {"photo": {"take_in_ms": 10.0, "hand_out_ms": 10.0, "stored_bytes": 2e6}},
        "thousand": {
            "rows": [{**row, "page": page} for page in PAGES],
            "flocks": 1000,
            "birds": 12,
            "years": 2,
            "database_bytes": 2e9,
            "dump_seconds": 20.0,
            "dump_bytes": 2e8,
        },
    }


def figures(measured) -> dict[str, float]:
    found = {}
    for line in load.lines(measured):
        words, _, figure = line.rpartition("  ")
        if words.strip() and figure.strip().replace(",", "").replace(".", "").isdigit():
            found[words.strip()] = float(figure)
    return found


def test_processors_are_requests_times_their_cost_at_half_load(measured):
    found = figures(measured)
    week = 10_000 * sum(load.WEEK.values())
    peak = week * 0.03 / 3600 * 2
    assert found["requests a second, at the peak"] == pytest.approx(peak, abs=0.05)
    assert found["cores that serve"] == pytest.approx(peak * 0.010 / 0.5, abs=0.05)
    assert found["cores of the database"] == pytest.approx(peak * 0.004 / 0.5, abs=0.05)
    processes = 2 * math.ceil(peak * 0.010 / 0.5)
    assert found["connections to the database, at most"] == processes * 4


def test_sizes_grow_with_flocks_and_years(measured):
    found = figures(measured)
    assert found["database, kB a flock and year"] == 1000  # 2 GB / 1000 flocks / 2 years
    assert found["database after 10 years, GB"] == 100
    assert found["a dump of it, minutes"] == pytest.approx(1000 / 60, abs=0.5)  # at 100 MB/s
    assert found["a dump of it, GB"] == 10
    assert found["photos, TB a year"] == pytest.approx(3 * 52 * 10_000 * 2e6 / 1e12, abs=0.05)


def test_a_page_that_costs_more_needs_more(measured):
    before = figures(measured)
    for row in measured["thousand"]["rows"]:
        if row["page"] == "Today":
            row["page processor"] = 100.0
    assert figures(measured)["cores that serve"] > 1.5 * before["cores that serve"]

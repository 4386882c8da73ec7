"""What was found about no signal stands on the page of sources, as the study found it."""

import re
from pathlib import Path

import pytest
from django.urls import reverse

from tests.people.rows import READ_PAGE, seen

pytestmark = pytest.mark.django_db
TABLE = Path(__file__).parents[1] / "studies" / "outbox_faults.txt"


def test_who_may(cast):
    assert seen(cast, reverse("offline:about", args=[cast.flock.pk])) == READ_PAGE


def test_the_figures_are_those_of_the_kept_table(cast):
    leads = cast.clients.viewer.get(reverse("offline:about", args=[cast.flock.pk])).text
    address = reverse("sources", args=[cast.flock.pk])
    assert f'href="{address}#no-signal"' in leads
    page = cast.clients.viewer.get(address).text
    assert 'id="no-signal"' in page
    shown = [
        tuple(map(int, pair)) for pair in re.findall(r"<td>(\d+)</td><td>(\d+)</td></tr>", page)
    ]
    kept = TABLE.read_text()
    measured = [tuple(map(int, pair)) for pair in re.findall(r"(?m)\s(\d+)\s+(\d+)$", kept)]
    # Logged and acknowledged stand in rows of their own there; here one row says both.
    assert shown == [*measured[:7], *measured[8:]]
    assert measured[-1] == (0, 0)
    faults = re.search(r"Faults tried: (\d+)", kept)[1]
    assert f"{faults} faults" in page

"""The page on reliability says what the study has found."""

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
    page = cast.clients.viewer.get(reverse("offline:about", args=[cast.flock.pk])).content.decode()
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

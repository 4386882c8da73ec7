"""States of birds in the records exchange."""

from datetime import date

import pytest

from flockcare.birds.models import BirdState
from flockcare.people.models import Flock
from tests.exchange.exchanges import bring_in, problems_of
from tests.exchange.folders import write_folder

pytestmark = pytest.mark.django_db
BIRDS = [{"bird": "Sage", "hatched": "2022-05", "left": "2024-01-01", "left_reason": "died"}]


@pytest.fixture
def flock():
    return Flock.objects.create(name="Test yard")


def folder(tmp_path, *rows):
    rows = [{"bird": "Sage", "kind": "broody", **row} for row in rows]
    return write_folder(tmp_path / "in", birds=BIRDS, states=rows)


def test_rows_become_records_once(flock, tmp_path):
    root = folder(
        tmp_path,
        {"from": "2023-05-01", "to": "2023-06-01"},
        {"from": "2023-06-01"},
        {"kind": "in quarantine", "from": "2023-05-01"},
    )
    for _ in range(2):
        bring_in(root, flock)
        found = BirdState.objects.order_by("since", "kind").values_list("kind", "since", "until")
        assert list(found) == [
            ("broody", date(2023, 5, 1), date(2023, 6, 1)),
            ("quarantine", date(2023, 5, 1), None),
            ("broody", date(2023, 6, 1), None),
        ]


@pytest.mark.parametrize(
    ("rows", "line", "column", "words"),
    [
        ([{"from": "2023-05-01"}, {"from": "2023-06-01"}], 3, "from", "On record already"),
        ([{"from": "2023-05-01", "to": "2023-04-01"}], 2, "to", "ends before it begins"),
        ([{"from": "2021-05-01"}], 2, "from", "before she hatched"),
        ([{"from": "2024-05-01"}], 2, "from", "after she left"),
        ([{"from": "2099-05-01"}], 2, "from", "in the future"),
        ([{"kind": "ill", "from": "2023-05-01"}], 2, "kind", "“ill” is not one of"),
        ([{"from": ""}], 2, "from", "must not be empty"),
    ],
)
def test_a_bad_row_is_named(flock, tmp_path, rows, line, column, words):
    *places, text = problems_of(folder(tmp_path, *rows), flock)
    assert places[0] == ("states.csv", line, column)
    assert words in text


def test_one_that_clashes_with_what_is_on_record(flock, tmp_path):
    bring_in(folder(tmp_path, {"from": "2023-05-01", "to": "2023-06-01"}), flock)
    *places, text = problems_of(folder(tmp_path, {"from": "2023-05-20"}), flock)
    assert places == [("states.csv", 2, "from")]
    assert "On record already: broody from 1 May 2023 until 1 Jun 2023." in text

"""The advice for each combination of signs is one that a careful vet could accept."""

from collections import Counter

import pytest

from flockcare.care.rules import Advice, Situation, advise
from tests.care.advice_table import ROWS


def ids(row):
    return f"{row.reason} {row.signs}"


@pytest.mark.parametrize("row", ROWS, ids=ids)
def test_a_careful_vet_could_accept_it(row):
    answer = advise(Situation(**row.values))
    assert answer.advice.name in row.levels, [rule.key for rule in answer.because]


def test_the_table_is_wide_and_each_row_is_there_once():
    assert len(ROWS) >= 120
    same = Counter(tuple(sorted(row.values.items(), key=str)) for row in ROWS)
    assert max(same.values()) == 1
    accepted = Counter(level for row in ROWS for level in row.levels)
    assert set(accepted) == {level.name for level in Advice}
    # A row that accepts nearly anything would tell nothing.
    assert all(len(row.levels) <= 4 for row in ROWS)
    assert sum(len(row.levels) == 1 for row in ROWS) > len(ROWS) / 2


def test_each_row_says_its_reason_and_how_sure_its_source_is():
    sure = ("read", "as cited", "from memory", "no published source", "our choice", "in birds")
    for row in ROWS:
        assert row.reason and row.source.endswith(sure)

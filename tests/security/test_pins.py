"""What is installed is what was named: exact versions, and those."""

import re
from importlib import metadata
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
FILES = [ROOT / "requirements.txt", ROOT / "tests" / "requirements.txt"]
LINES = [
    line.strip()
    for path in FILES
    for line in path.read_text().splitlines()
    if line.strip() and not line.startswith(("#", "-r "))
]


@pytest.mark.parametrize("line", LINES)
def test_every_pin_is_exact_and_installed(line):
    """A requirement that floats would be another program on every machine."""
    pin = re.fullmatch(r"([A-Za-z0-9._-]+)(?:\[[a-z0-9,]+\])?==([0-9][0-9A-Za-z.+!]*)", line)
    assert pin, line
    assert metadata.version(pin[1]) == pin[2]


def test_nothing_is_named_twice():
    names = [re.split(r"[=\[]", line)[0].lower().replace("_", "-") for line in LINES]
    assert len(names) == len(set(names))

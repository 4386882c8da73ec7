"""The environments that DEPLOY.md names start, and Django's checks for deployment are clean."""

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

pytestmark = pytest.mark.apart

ROOT = Path(__file__).resolve().parents[2]
PAGE = (ROOT / "flockcare" / "DEPLOY.md").read_text()
EXAMPLES = dict(re.findall(r"```env (\w+)\n(.*?)```", PAGE, re.DOTALL))


def environment(name: str) -> dict[str, str]:
    own = dict(line.split("=", 1) for line in EXAMPLES[name].splitlines())
    ours = ("FLOCKCARE_", "DJANGO_")
    around = {key: value for key, value in os.environ.items() if not key.startswith(ours)}
    return {**around, **own}


def test_the_page_has_an_example_for_each_kind():
    assert list(EXAMPLES) == ["home", "server", "club"]


@pytest.mark.parametrize("name", EXAMPLES)
def test_its_checks_are_clean(name, tmp_path):
    result = subprocess.run(
        [sys.executable, "manage.py", "check", "--deploy", "--fail-level", "WARNING"],
        cwd=ROOT,
        env={**environment(name), "FLOCKCARE_DATA": str(tmp_path)},
        capture_output=True,
        text=True,
    )
    assert result.returncode == 0, result.stderr


def test_every_name_it_gives_is_read_somewhere():
    read = "".join(
        (ROOT / "flockcare" / name).read_text() for name in ("settings.py", "gunicorn.py")
    )
    missing = [name for name in re.findall(r"FLOCKCARE_[A-Z0-9_]+", PAGE) if name not in read]
    assert missing == []

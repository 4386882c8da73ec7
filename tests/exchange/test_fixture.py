"""The example flock can be read, and the page on the exchange names every column there is."""

import re
from pathlib import Path

import pytest
from django.core.management import call_command

from flockcare.exchange import services as exchange
from flockcare.exchange.tables import FILES
from flockcare.feet.models import Check
from flockcare.people.models import Flock
from tests.exchange.exchanges import csv_files

ROOT = Path(__file__).resolve().parents[2]
THREE_HENS = ROOT / "fixtures" / "three-hens"


@pytest.mark.django_db
def test_three_hens_are_read_and_come_out_the_same(tmp_path):
    call_command("import_records", THREE_HENS, flock="Three hens", create=True)
    flock = Flock.objects.get()
    assert sorted(flock.bird_set.values_list("name", flat=True)) == ["Cress", "Mustard", "Pepper"]
    mustard = Check.objects.get(bird__name="Mustard").findings.get(foot="right")
    assert (mustard.score, mustard.sites, mustard.scab) == (1, ["toe III", "between"], "black")
    exchange.export(flock, tmp_path / "first")
    call_command("import_records", tmp_path / "first", flock="Again", create=True)
    exchange.export(Flock.objects.get(name="Again"), tmp_path / "second")
    assert csv_files(tmp_path / "first") == csv_files(tmp_path / "second")


def test_the_page_names_every_column():
    page = (ROOT / "flockcare/exchange/README.md").read_text()
    for file, columns in FILES.items():
        line = next(line for line in page.splitlines() if line.startswith(f"| `{file}`"))
        named = re.findall(r"`(\w+)`", line.split("|", 2)[2])
        assert named == list(columns.all), file

"""Whatever a flock holds, its export comes back as an equal flock."""

import tempfile
from pathlib import Path

import pytest
from hypothesis import HealthCheck, Phase, given, settings

from flockcare.exchange.services import apply, check, export, read_folder
from flockcare.people.models import Flock
from tests.exchange.exchanges import NOW, csv_files
from tests.exchange.flocks import flocks

slow = [HealthCheck.too_slow, HealthCheck.function_scoped_fixture, HealthCheck.data_too_large]


@pytest.mark.django_db
# A flock that fails is shown as it was drawn: making it smaller would take many minutes.
@settings(
    deadline=None,
    max_examples=25,
    suppress_health_check=slow,
    phases=[Phase.generate],
    database=None,
)
@given(flock=flocks())
def test_any_flock_comes_back_byte_for_byte(flock):
    with tempfile.TemporaryDirectory() as folder:
        first, second = Path(folder, "first"), Path(folder, "second")
        export(flock, first)
        flock.delete()
        brought = Flock.objects.create(name="Brought")
        apply(check(read_folder(first), brought, now=NOW))
        export(brought, second)
        brought.delete()
        assert csv_files(first) == csv_files(second)

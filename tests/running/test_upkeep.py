"""What an installation does by itself: at the start, and every hour while it serves."""

import io
import os
import time

import pytest
from django.core.management import call_command
from django.utils import timezone

from flockcare.core.models import ClockMark
from flockcare.photos.models import FileCheck
from flockcare.running.management.commands import up

pytestmark = pytest.mark.django_db


def test_it_starts_by_clearing_up_and_looking_over_the_photos(cast, settings, tmp_path):
    settings.DATA_DIR = tmp_path / "data"
    settings.STATIC_ROOT = tmp_path / "static"
    left = settings.DATA_DIR / ".import-killed"
    left.mkdir(parents=True)
    os.utime(left, (time.time() - 2 * 24 * 3600,) * 2)
    call_command("up", prepare_only=True, stdout=io.StringIO())
    assert not left.exists()
    assert FileCheck.objects.filter(flock=cast.flock).exists()


def test_what_fails_in_an_hour_does_not_keep_the_rest_from_being_done(
    cast, settings, tmp_path, monkeypatch, caplog
):
    settings.DATA_DIR = tmp_path

    def make_daily_beside():
        raise OSError("no room")

    done = [make_daily_beside if task is up.make_daily_beside else task for task in up.HOURLY]
    assert done != list(up.HOURLY)
    monkeypatch.setattr(up, "HOURLY", done)
    up.do_hourly()
    assert "make_daily_beside failed" in caplog.text and "no room" in caplog.text
    assert FileCheck.objects.filter(flock=cast.flock).exists(), "comes after the backup"
    assert ClockMark.objects.get().seen.date() == timezone.now().date(), "comes before it"

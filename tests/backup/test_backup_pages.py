"""Which daily backups are kept, and the pages about backup and security."""

import datetime as dt
import os
from types import SimpleNamespace

import pytest
from django.core.management import CommandError, call_command
from django.urls import reverse
from django.utils import timezone

from flockcare.backup import keeping
from flockcare.backup.services import BackupProblem, Made
from flockcare.people import attempts
from tests.people.rows import OWNER_PAGE, READ_PAGE, seen

NEWEST = dt.date(2026, 11, 25)  # a Wednesday


# --- Which are kept (the rule is our own)


def days(*back: int) -> set[dt.date]:
    return {NEWEST - dt.timedelta(days) for days in back}


def test_a_week_of_days_and_four_weeks_are_kept():
    # Of the weeks that end on Sunday 22nd, 15th and 8th the newest day; the 25th is this week's.
    assert keeping.to_keep(days(*range(60))) == days(0, 1, 2, 3, 4, 5, 6, 10, 17)
    assert keeping.to_keep(days(*range(60))) >= {
        dt.date(2026, 11, 22), dt.date(2026, 11, 15), dt.date(2026, 11, 8),
    }  # fmt: skip


def test_after_a_long_pause_the_old_ones_stay():
    pause = days(0, 100, 101, 102, 103, 104, 105, 106, 107, 130)
    assert keeping.to_keep(pause) == days(0, 100, 101, 102, 103, 104, 105, 130)


def test_day_by_day_there_are_never_more_than_ten_and_one_a_month_old():
    there: set[dt.date] = set()
    for number in range(200):
        there = keeping.to_keep(there | {NEWEST + dt.timedelta(number)})
        assert len(there) <= keeping.DAYS + keeping.WEEKS - 1
        if number > 40:
            oldest = NEWEST + dt.timedelta(number) - min(there)
            assert dt.timedelta(15) <= oldest <= dt.timedelta(28)


@pytest.fixture
def folder(settings, tmp_path):
    settings.DATA_DIR = tmp_path / "data"
    place = keeping.folder()
    place.mkdir(parents=True)
    return place


def put(folder, day: dt.date, size: int = 10):
    path = folder / f"flockcare-{day}.zip"
    path.write_bytes(b"x" * size)
    moment = dt.datetime.combine(day, dt.time(12), tzinfo=dt.UTC).timestamp()
    os.utime(path, (moment, moment))
    return path


def test_files_that_are_not_ours_are_left_alone(folder):
    for number in range(30):
        put(folder, NEWEST - dt.timedelta(number))
    others = [folder / "notes.txt", folder / "flockcare-best.zip", folder / "x-2026-01-01.zip"]
    for other in others:
        other.write_text("mine")
    keeping.tidy()
    assert all(other.exists() for other in others)
    assert len(keeping.kept()) == 9


def test_a_full_disk_keeps_fewer_but_two(folder, monkeypatch):
    for number in range(6):
        put(folder, NEWEST - dt.timedelta(number), size=100)
    monkeypatch.setattr(keeping, "_free", lambda: 350)
    keeping.tidy()
    assert [one.on for one in keeping.kept()] == sorted(days(0, 1, 2), reverse=True)
    monkeypatch.setattr(keeping, "_free", lambda: 0)
    keeping.tidy()
    assert len(keeping.kept()) == keeping.LEAST == 2


def test_one_a_day(folder, monkeypatch):
    def make(path, now=None):
        path.write_bytes(b"backup")
        return Made(1, 1, 6, [])

    monkeypatch.setattr(keeping, "make", make)
    made = keeping.make_daily()
    assert made.read_bytes() == b"backup"
    assert keeping.make_daily() is None
    assert [one.on for one in keeping.kept()] == [timezone.localdate()]


def test_a_failure_is_remembered_until_one_succeeds(folder, monkeypatch):
    def fails(path, now=None):
        raise BackupProblem("The disk is full.")

    earlier = put(folder, timezone.localdate() - dt.timedelta(1))
    monkeypatch.setattr(keeping, "make", fails)
    with pytest.raises(CommandError, match="The disk is full"):
        call_command("backup", daily=True)
    assert keeping.last_failure() == "The disk is full." and earlier.exists()
    monkeypatch.setattr(keeping, "make", lambda path, now=None: path.touch())
    keeping.make_daily()
    assert keeping.last_failure() == ""


def test_serving_goes_on_when_the_backup_fails(folder, monkeypatch, caplog):
    """It is made by a process of its own, whose failure is only written down."""
    asked = []

    def run(command, **_):
        asked.append(command[-2:])
        return SimpleNamespace(returncode=1, stderr="CommandError: The disk is full.")

    monkeypatch.setattr(keeping.subprocess, "run", run)
    keeping.make_daily_beside()
    assert asked == [["backup", "--daily"]] and "The disk is full." in caplog.text
    put(folder, timezone.localdate())
    keeping.make_daily_beside()
    assert len(asked) == 1, "not again on the same day"


@pytest.mark.parametrize("words", [[], ["a.zip", "--daily"]])
def test_a_name_or_daily_is_needed(words):
    with pytest.raises(CommandError, match="Name a file to write, or use --daily"):
        call_command("backup", *words)


# --- The pages


@pytest.mark.django_db
class TestPages:
    def test_who_sees_them(self, cast, folder):
        assert seen(cast, reverse("backup:overview", args=[cast.flock.pk])) == OWNER_PAGE
        assert seen(cast, reverse("backup:security", args=[cast.flock.pk])) == READ_PAGE

    def page(self, cast) -> str:
        return cast.clients.owner.get(reverse("backup:overview", args=[cast.flock.pk])).text

    def test_before_the_first_it_says_when_it_comes(self, cast, folder):
        page = self.page(cast)
        assert "No backup yet" in page and "manage.py backup /media/stick" in page

    def test_the_last_one_and_all_kept(self, cast, folder):
        put(folder, timezone.localdate() - dt.timedelta(1), size=3_000_000)
        newest = put(folder, timezone.localdate(), size=2_000_000)
        os.utime(newest)
        page = self.page(cast)
        local = timezone.localtime(timezone=cast.flock.zone)
        assert f"{local:%a} {local.day} {local:%b %Y}" in page
        assert "1.9\xa0MB" in page and "All 2 backups kept here" in page
        assert "notice warning" not in page

    def test_an_old_one_and_a_failure_are_shown(self, cast, folder):
        put(folder, timezone.localdate() - dt.timedelta(4))
        (folder / "failed.txt").write_text("The disk is full.")
        page = self.page(cast)
        assert "The newest backup is" in page and "days" in page and "The disk is full." in page

    def test_where_the_files_lie_is_told_only_as_the_readme_does(self, cast, folder, tmp_path):
        assert str(tmp_path) not in self.page(cast)

    def test_the_figures_of_security_are_those_of_the_code(self, cast):
        page = cast.clients.viewer.get(reverse("backup:security", args=[cast.flock.pk])).text
        longest = attempts.in_words(attempts.LONGEST_WAIT)
        for figure in (attempts.FREE, attempts.MANY, longest.removesuffix(" minutes")):
            assert f" {figure} " in page
        assert "You are looking at this page without HTTPS" in page
        # On the machine itself nobody can read along.
        address = reverse("backup:security", args=[cast.flock.pk])
        page = cast.clients.viewer.get(address, headers={"host": "localhost"}).text
        assert "You are looking at this page without HTTPS" not in page

    def test_more_leads_to_them(self, cast):
        more = reverse("people:more", args=[cast.flock.pk])
        backup, security = (
            reverse(f"backup:{name}", args=[cast.flock.pk]) for name in ("overview", "security")
        )
        owners, viewers = (
            client.get(more).text for client in (cast.clients.owner, cast.clients.viewer)
        )
        assert backup in owners and security in owners
        assert backup not in viewers and security in viewers

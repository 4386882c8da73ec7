"""What every page and the repository keep to."""

import io
import re
import subprocess
import sys
from pathlib import Path

import pytest
from django.conf import settings
from django.core.management import call_command
from django.db import connection

ROOT = Path(__file__).resolve().parents[2]
TEMPLATES = sorted((ROOT / "templates").rglob("*.html"))
TOP_LEVEL = {
    "README.md",
    "DEVELOPERS.md",
    "manage.py",
    "requirements.txt",
    "flockcare",
    "templates",
    "static",
    "tests",
    "fixtures",
}


def tracked() -> list[str]:
    listing = subprocess.run(
        ["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=True
    )
    return listing.stdout.splitlines()


def test_the_top_level_is_what_it_should_be():
    top = {path.split("/")[0] for path in tracked()}
    assert {name for name in top if not name.startswith(".")} == TOP_LEVEL


@pytest.mark.parametrize("path", TEMPLATES, ids=lambda path: str(path.relative_to(ROOT)))
def test_templates_have_no_inline_code_or_style(path):
    """The content policy would drop these without a word."""
    text = re.sub(r"{#.*?#}", "", path.read_text(), flags=re.DOTALL)
    assert not re.search(r"\sstyle\s*=", text)
    assert not re.search(r"<style|<script(?![^>]*\ssrc=)", text)
    assert not re.search(r"\son\w+\s*=", text)
    assert not re.search(r"hx-on|hx-vals\s*=\s*['\"]js:|hx-trigger\s*=\s*\"[^\"]*\[", text)
    assert not re.search(r"(src|href)\s*=\s*['\"]https?:", text)
    assert not re.search(r"\|\s*safe\b", text)


@pytest.mark.parametrize("path", TEMPLATES, ids=lambda path: str(path.relative_to(ROOT)))
def test_templates_can_be_read_without_scrolling(path):
    """No line over 120 characters, and no template over a page of an editor."""
    lines = path.read_text().splitlines()
    assert not [line for line in lines if len(line) > 120]
    assert len(lines) <= 120


@pytest.mark.django_db
def test_migrations_are_complete():
    call_command("makemigrations", check=True, dry_run=True, stdout=io.StringIO())


def test_djangos_own_checks_find_nothing():
    call_command("check", fail_level="WARNING")


@pytest.mark.django_db
def test_the_database_waits_instead_of_failing(tmp_path):
    """Options one level too high would be ignored without a word: read them back."""
    from django.db.backends.sqlite3.base import DatabaseWrapper

    given = {**connection.settings_dict, **settings.SQLITE, "NAME": tmp_path / "own.sqlite3"}
    own = DatabaseWrapper(given, alias="own")
    with own.cursor() as cursor:
        for pragma, value in (
            ("journal_mode", "wal"),
            ("synchronous", 2),
            ("busy_timeout", 20_000),
            ("foreign_keys", 1),
        ):
            assert cursor.execute(f"PRAGMA {pragma}").fetchone()[0] == value, pragma
    assert own.transaction_mode == "IMMEDIATE"
    own.close()


def test_ruff():
    for command in (["check", "."], ["format", "--check", "."]):
        result = subprocess.run(
            [sys.executable, "-m", "ruff", *command], cwd=ROOT, capture_output=True, text=True
        )
        assert result.returncode == 0, result.stdout


def test_static_files_are_all_there(tmp_path, settings):
    """The manifest is made of the real files: a missing one that CSS or a page names stops it."""
    settings.STATIC_ROOT = tmp_path / "collected"
    settings.STORAGES = {
        **settings.STORAGES,
        "staticfiles": {"BACKEND": "whitenoise.storage.CompressedManifestStaticFilesStorage"},
    }
    call_command("collectstatic", verbosity=0, interactive=False)
    from django.contrib.staticfiles.storage import staticfiles_storage

    named = set()
    for path in TEMPLATES:
        named |= set(re.findall(r"{%\s*static\s+'([^']+)'", path.read_text()))
    assert named
    for name in named:
        assert staticfiles_storage.url(name)


def test_a_message_after_saving_says_what_was_saved():
    python = [path for path in tracked() if path.startswith("flockcare/") and path.endswith(".py")]
    assert [path for path in python if '"Saved."' in (ROOT / path).read_text()] == []


@pytest.mark.parametrize("path", TEMPLATES, ids=lambda path: str(path.relative_to(ROOT)))
def test_choices_stand_side_by_side(path):
    """A field brings a box of its own for them; around another box the class stacks them."""
    assert not re.search(r"<fieldset[^>]*chips.*?<div>{{", path.read_text())

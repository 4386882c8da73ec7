"""The cast of the tests: an owner, a keeper, a viewer, and a stranger with a flock of their own."""

import contextlib
import shutil
from pathlib import Path
from types import SimpleNamespace
from zoneinfo import ZoneInfo

import pytest
from django.db import connections
from django.test import Client
from django.utils import timezone
from hypothesis import HealthCheck, settings

from flockcare.backup.databases import replaced
from flockcare.birds.models import Bird
from flockcare.people.models import Membership, Role
from flockcare.people.services import add_keeper, start_flock
from tests.backup.installed import done

# How long an example takes says how busy the machine is: no test is timed.
settings.register_profile("untimed", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("untimed")

ZONE = ZoneInfo("Europe/London")
PASSWORD = "straw and oats 7"


def pytest_addoption(parser):
    parser.addoption(
        "--in-pieces",
        action="store_true",
        help="in a browser, pages and scripts come in two pieces: shows a test that does not wait",
    )


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items):
    """What asks for no database is ``apart``: a run on another database leaves it out."""
    databases = {"db", "transactional_db", "live_server", "django_db_setup"}
    for item in items:
        if not item.get_closest_marker("django_db") and databases.isdisjoint(item.fixturenames):
            item.add_marker("apart")


@pytest.fixture(autouse=True)
def _quick_and_apart(settings, tmp_path):
    """Cheap password hashes, plain static files, and for each test its own folder and cache."""
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    settings.MEDIA_ROOT = tmp_path / "files"
    settings.STATIC_ROOT = tmp_path / "static"
    settings.STATIC_ROOT.mkdir()
    settings.CACHES = {"default": {**settings.CACHES["default"], "LOCATION": tmp_path / "cache"}}
    stored = settings.STORAGES["default"]
    if "bucket_name" in stored["OPTIONS"]:
        stored["OPTIONS"]["location"] = str(tmp_path / "files").strip("/")
    settings.STORAGES = {
        "default": stored,
        "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"},
    }


@pytest.fixture(autouse=True)
def _days_of_the_flock():
    """Today is the day where the cast lives, also in the first hour of a day in summer."""
    with timezone.override(ZONE):
        yield


def client_of(keeper) -> Client:
    client = Client()
    client.force_login(keeper)
    return client


@pytest.fixture
def cast(db):
    """``owner``, ``keeper``, ``viewer``, ``stranger`` (keepers), their clients, and ``flock``."""
    people = {
        name: add_keeper(name=name.title(), sign_in_name=name, password=PASSWORD)
        for name in ("owner", "keeper", "viewer", "stranger")
    }
    flock = start_flock(
        owner=people["owner"], name="Hill Flock", time_zone=ZONE.key, units="metric"
    )
    for name, role in (("keeper", Role.KEEPER), ("viewer", Role.VIEWER)):
        Membership.objects.create(flock=flock, keeper=people[name], role=role)
    elsewhere = start_flock(
        owner=people["stranger"], name="Elsewhere", time_zone="UTC", units="metric"
    )
    clients = {name: client_of(keeper) for name, keeper in people.items()}
    return SimpleNamespace(
        **people, flock=flock, elsewhere=elsewhere, clients=SimpleNamespace(**clients)
    )


@pytest.fixture
def birds(cast):
    """Three hens of the flock by name."""
    return {
        name: Bird.objects.create(flock=cast.flock, name=name, band_colour=colour, band_number="7")
        for name, colour in (("Dill", "green"), ("Mace", "red"), ("Sorrel", "blue"))
    }


@pytest.fixture(scope="session")
def new_installation(tmp_path_factory):
    """``new_installation(folder)``, on SQLite and not served: nothing has happened in it yet.

    One is made and then copied, which is quicker than making each.
    """
    made = tmp_path_factory.mktemp("made") / "data"
    done(made, "up", "--prepare-only")

    def copied(folder: Path) -> Path:
        return Path(shutil.copytree(made, folder, dirs_exist_ok=True))

    return copied


class _NotKept(Exception):
    """Leaves the database as it was."""


@pytest.fixture
def empty_database(django_db_setup, django_db_blocker, tmp_path):
    """``with empty_database() as connection``: one without tables, thrown away afterwards.

    On SQLite a file beside the database, on PostgreSQL in a transaction that is undone.
    """

    @contextlib.contextmanager
    def one():
        with (
            contextlib.suppress(_NotKept),
            django_db_blocker.unblock(),
            replaced(tmp_path) as alias,
        ):
            yield connections[alias]
            raise _NotKept

    return one

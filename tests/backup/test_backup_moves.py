"""A backup moves an installation that was outgrown from SQLite to PostgreSQL, and back.

Only where the tests run on a PostgreSQL; on SQLite there is nothing to move to.
"""

import json
import subprocess
import sys
import uuid
from urllib.parse import quote

import pytest
from django.conf import settings

from tests.backup.installed import (
    ROOT,
    SCRIPT,
    done,
    environment,
    files,
    manage,
    members,
    photo_files,
    rows,
    run,
)


def read_json(value):
    """PostgreSQL keeps the keys of an object in an order of its own."""
    try:
        return json.dumps(json.loads(value), sort_keys=True)
    except (TypeError, ValueError):
        return value


def meant(found: dict) -> dict:
    return {
        table: sorted(([read_json(value) for value in row] for row in lines), key=repr)
        for table, lines in found.items()
    }


if settings.POSTGRESQL:

    @pytest.fixture(scope="module")
    def postgresql():
        """The environment that names an empty database."""
        import psycopg

        given, name = settings.POSTGRESQL, f"moved_{uuid.uuid4().hex}"
        server = {"host": given["HOST"], "port": given["PORT"], "user": given["USER"]}
        server["password"] = given["PASSWORD"]
        with psycopg.connect(**server, dbname=given["NAME"], autocommit=True) as connection:
            connection.execute(f"CREATE DATABASE {name}")
            who = f"{given['USER']}:{quote(given['PASSWORD'])}"
            address = f"postgresql://{who}@{given['HOST']}:{given['PORT']}/{name}"
            yield {"FLOCKCARE_DATABASE": address}
            connection.execute(f"DROP DATABASE {name} WITH (FORCE)")

    def test_it_moves_there_and_back(postgresql, tmp_path):
        small, large = tmp_path / "small", tmp_path / "large"
        done(small, "migrate", "-v0")
        assert run(small, str(SCRIPT), "prepare").returncode == 0
        done(small, "backup", tmp_path / "small.zip")

        done(large, "restore", tmp_path / "small.zip", on=postgresql)
        assert files(large) == files(small)
        answer = manage(large, "restore", tmp_path / "small.zip", on=postgresql)
        assert answer.returncode != 0 and "Use --replace" in answer.stderr
        done(large, "backup", tmp_path / "large.zip", on=postgresql)
        assert members(tmp_path / "large.zip")["database"] == "postgresql"
        back = tmp_path / "back"
        done(back, "restore", tmp_path / "large.zip")
        assert meant(rows(back)) == meant(rows(small))
        assert files(back) == files(small)

        # New rows get numbers of their own, and somebody writes while a backup is made.
        writer = subprocess.Popen(
            [sys.executable, str(SCRIPT), "turn", "100000"],
            cwd=ROOT,
            env=environment(large, **postgresql),
            stdout=subprocess.PIPE,
            text=True,
        )
        try:
            assert writer.stdout.readline().strip() == "writing"
            done(large, "backup", tmp_path / "busy.zip", on=postgresql)
            assert writer.poll() is None
        finally:
            writer.kill()
            writer.wait()
        assert members(tmp_path / "busy.zip")["missing"] == []

        done(large, "restore", tmp_path / "busy.zip", "--replace", on=postgresql)
        assert len(list(large.glob("before-restore-*.zip"))) == 1
        again = tmp_path / "again"
        done(again, "restore", tmp_path / "busy.zip")
        assert photo_files(again) == set(files(again)) == set(files(large))
        looked = run(large, str(SCRIPT), "look", on=postgresql)
        assert looked.returncode == 0, looked.stderr
        seen = json.loads(looked.stdout)
        assert seen["today"] == 200 and seen["photos"] == [200, 200]

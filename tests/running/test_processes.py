"""Three serving processes, two keepers at once, photos in object storage.

On PostgreSQL where the tests run on it, else on SQLite, where several processes also must lose
nothing though one is enough.
"""

import io
import json
import uuid
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime
from threading import Barrier
from types import SimpleNamespace
from urllib.parse import quote

import pytest
from django.conf import settings
from PIL import Image

from flockcare.people.attempts import FREE
from tests.running import with_s3
from tests.running.served import Browser, Served

CHECKS = 6  # of each keeper
START = "/f/{0.flock}/round/start/"


@pytest.fixture(scope="module")
def own_database():
    """The environment that names an empty database."""
    if not settings.POSTGRESQL:
        yield {}
        return
    import psycopg

    name = f"served_{uuid.uuid4().hex}"
    given = settings.POSTGRESQL
    server = {"host": given["HOST"], "port": given["PORT"], "user": given["USER"]}
    server["password"] = given["PASSWORD"]
    with psycopg.connect(**server, dbname=given["NAME"], autocommit=True) as connection:
        connection.execute(f"CREATE DATABASE {name}")
        place = f"{given['HOST']}:{given['PORT']}/{name}"
        yield {
            "FLOCKCARE_DATABASE": f"postgresql://{given['USER']}:{quote(given['PASSWORD'])}@{place}"
        }
        connection.execute(f"DROP DATABASE {name} WITH (FORCE)")


@pytest.fixture(scope="module")
def served(tmp_path_factory, own_database):
    storage, environment = with_s3.started()
    served = Served(
        tmp_path_factory.mktemp("served"),
        {**own_database, **environment, "FLOCKCARE_PROCESSES": "3"},
    )
    try:
        served.run("manage.py", "up", "--prepare-only")
        prepared = json.loads(served.run("tests/browser/prepare.py"))
        served.start()
        yield SimpleNamespace(served=served, s3=environment, **prepared)
    finally:
        served.stop()
        storage.stop()


def picture(number: int) -> bytes:
    stream = io.BytesIO()
    Image.new("RGB", (640 + number, 480), "olive").save(stream, "JPEG")
    return stream.getvalue()


def a_check(served, bird: str, photo: bytes) -> tuple[str, dict, dict]:
    """Both feet clear, with a photo of the left one: what ``Browser.fill_in`` takes."""
    fields = {
        "check_id": str(uuid.uuid4()),
        "at": datetime.now(UTC).strftime("%Y-%m-%dT%H:%M"),
        # Whatever another test found on her feet.
        "clear": "left right",
    }
    return f"/f/{served.flock}/birds/{bird}/check/", fields, {"left-photos": photo}


def count(served, what: str) -> int:
    names = (
        "from flockcare.feet.models import Check, Round; from flockcare.birds.models import Bird; "
        "from flockcare.photos.models import Photo"
    )
    shell = ("manage.py", "shell", "--no-imports", "-c")
    return int(served.served.run(*shell, f"{names}; print({what})"))


def stored(served) -> list[str]:
    """The names of the photos' files in the storage."""
    found = with_s3.client(served.s3).list_objects_v2(Bucket=with_s3.BUCKET).get("Contents", [])
    return [each["Key"] for each in found if "/full-" in each["Key"]]


def kept(served) -> list[int]:
    """How many checks with a photo, photos, and files there are."""
    checks = count(served, "Check.objects.filter(photos__isnull=False).count()")
    return [checks, count(served, "Photo.objects.count()"), len(stored(served))]


def test_two_keepers_at_once_lose_nothing(served):
    birds = list(served.birds.values())
    before = kept(served)

    def work(keeper: int) -> list[int]:
        browser = Browser(served.served.url, served.sessions[("ada", "ben")[keeper]])
        return [
            browser.fill_in(*a_check(served, birds[number], picture(100 * keeper + number)))
            for number in range(CHECKS)
        ]

    with ThreadPoolExecutor(2) as pool:
        answers = list(pool.map(work, range(2)))
    assert answers == [[302] * CHECKS] * 2
    assert [now - then for now, then in zip(kept(served), before, strict=True)] == [2 * CHECKS] * 3


def at_once(served, *deeds) -> list[int]:
    """Each deed in a browser of its own, ada's and ben's by turns, as nearly at once as can be."""
    gate = Barrier(len(deeds))

    def one(number: int) -> int:
        browser = Browser(served.served.url, served.sessions[("ada", "ben")[number % 2]])
        return deeds[number](browser, gate.wait)

    with ThreadPoolExecutor(len(deeds)) as pool:
        return list(pool.map(one, range(len(deeds))))


def test_what_is_sent_twice_at_once_is_kept_once(served):
    sent = a_check(served, next(iter(served.birds.values())), picture(300))
    answers = at_once(served, *[lambda browser, wait: browser.fill_in(*sent, wait)] * 4)
    assert max(answers) < 500
    assert 302 in answers
    assert count(served, f"Check.objects.filter(pk={sent[1]['check_id']!r}).count()") == 1


def test_two_keepers_who_begin_a_round_at_once_share_one(served):
    def begin(browser, wait) -> int:
        return browser.fill_in(
            f"/f/{served.flock}/today/", {"everyone": "1"}, before=wait, to=START.format(served)
        )

    assert at_once(served, begin, begin, begin, begin) == [302] * 4
    assert count(served, "Round.objects.count()") == 1


def test_two_birds_of_one_name_at_once_are_one_and_a_message(served):
    def add(browser, wait) -> int:
        fields = {"name": "Rosemary", "sex": "hen"}
        return browser.fill_in(f"/f/{served.flock}/birds/add/", fields, before=wait)

    answers = at_once(served, add, add, add, add)
    assert sorted(answers)[-1] < 500
    assert answers.count(302) == 1
    assert count(served, "Bird.objects.filter(name='Rosemary').count()") == 1


def test_a_photo_is_handed_out_by_whichever_process_is_asked(served):
    bird = next(iter(served.birds.values()))
    Browser(served.served.url, served.sessions["ada"]).fill_in(*a_check(served, bird, picture(301)))
    _, flock, photo, _ = stored(served)[-1].split("/")
    address = f"/f/{flock}/photos/{photo}/full.jpg"
    for _ in range(6):
        status, content = Browser(served.served.url, served.sessions["ben"]).ask(address)
        assert (status, content[:2]) == (200, b"\xff\xd8")
        assert Browser(served.served.url).ask(address)[0] == 302


def test_the_processes_count_wrong_passwords_together(served):
    def sign_in(password: str) -> bytes:
        browser = Browser(served.served.url)
        fields = {"sign_in_name": "ben", "password": password}
        return browser.fill_in("/sign-in/", fields)

    for _ in range(FREE):
        assert sign_in("not the right one") == 200
    assert sign_in(served.password) == 200


def test_the_log_is_lines_of_json_from_several_processes_and_names_nobody(served):
    page = f"/f/{served.flock}/birds/?q=Sorrel"
    for _ in range(10):
        assert at_once(served, *[lambda browser, wait: browser.ask(page)[0]] * 4) == [200] * 4
    lines = served.served.lines()
    requests = [line for line in lines if line["logger"] == "flockcare.requests"]
    assert len({line["process"] for line in requests}) > 1
    assert [line for line in requests if line["status"] >= 500] == []
    assert [line for line in lines if line["level"] in ("ERROR", "CRITICAL")] == []
    text = json.dumps(lines)
    private = [*served.birds, "ben", "Brook Flock", served.password, served.flock, "127.0.0.1"]
    assert [word for word in [*private, *served.sessions.values()] if word in text] == []

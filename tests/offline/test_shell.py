"""What a phone keeps for the coop: the same for everybody, and nothing private in it."""

import json
import re
from html.parser import HTMLParser

import pytest
from django.core.management import call_command
from django.urls import reverse
from PIL import Image, ImageChops

from flockcare.offline import shell
from flockcare.offline.icons import FOLDER, ICONS, icon
from flockcare.people.models import Flock

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _made_anew():
    shell.page.cache_clear()
    shell.worker.cache_clear()
    yield
    shell.page.cache_clear()
    shell.worker.cache_clear()


def kept(client, name):
    return client.get(reverse("offline:kept", args=[name]))


@pytest.mark.parametrize("name", shell.PAGES)
def test_the_kept_pages_are_the_same_for_everybody(cast, birds, client, name):
    answers = [kept(one, name) for one in (client, cast.clients.owner, cast.clients.viewer)]
    assert {answer.status_code for answer in answers} == {200}
    texts = {answer.content for answer in answers}
    assert len(texts) == 1
    text = texts.pop().decode()
    for private in (cast.flock.name, str(cast.flock.pk), cast.owner.name, *birds):
        assert private not in text
    assert "csrfmiddlewaretoken" not in text
    assert "no-cache" in answers[0].headers["Cache-Control"]
    assert not answers[0].cookies


def test_no_page_but_those_is_kept(client):
    assert kept(client, "trends").status_code == 404


class Fields(HTMLParser):
    """The names and values of the first form with this purpose."""

    def __init__(self, purpose):
        super().__init__()
        self.purpose, self.inside, self.found = purpose, False, []

    def handle_starttag(self, tag, attributes):
        said = dict(attributes)
        if tag == "form" and not self.found:
            self.inside = said.get("data-outbox") == self.purpose
        if self.inside and "name" in said and tag in ("input", "select", "textarea", "button"):
            value = said.get("value", "") if said.get("type") in ("radio", "checkbox") else ""
            self.found.append((tag, said["name"], value))

    def handle_endtag(self, tag):
        if tag == "form":
            self.inside = False


def fields(text, purpose):
    parser = Fields(purpose)
    parser.feed(text)
    return [field for field in parser.found if field[1] != "csrfmiddlewaretoken"]


@pytest.mark.parametrize(
    ("name", "view"),
    [("check", "check_bird"), ("step", "care:step_new"), ("weighing", "birds:weighings")],
)
def test_a_kept_form_asks_what_the_page_asks(cast, birds, client, name, view):
    page = cast.clients.keeper.get(reverse(view, args=[cast.flock.pk, birds["Dill"].pk]))
    asked = fields(page.content.decode(), name)
    assert len(asked) > 2
    assert fields(kept(client, name).content.decode(), name) == asked


def test_a_kept_form_has_no_key_of_its_own(client):
    """A key that everybody has would make the second check of the day a double of the first."""
    text = kept(client, "check").content.decode()
    assert re.search(r'<input type="hidden" name="check_id"(?! value)[^>]*>', text)
    assert 'name="at"' in text
    assert not re.search(r'name="at"[^>]* value="\d', text)


def test_the_weighing_in_both_units(client):
    text = kept(client, "weighing").content.decode()
    assert 'data-units="metric"' in text
    assert 'name="grams_lb"' in text
    ids = re.findall(r'\sid="([^"]+)"', text)
    assert len(ids) == len(set(ids))


def kept_by_worker(client) -> dict:
    code = client.get(reverse("offline:worker")).content.decode()
    return json.loads(code[len("const KEPT = ") : code.index(";\n")])


def test_the_worker_keeps_what_its_pages_need_and_nothing_else(client, settings):
    answer = client.get("/worker.js")
    assert answer.headers["Content-Type"].startswith("text/javascript")
    assert "no-cache" in answer.headers["Cache-Control"]
    said = kept_by_worker(client)
    assert {one["page"] for one in said["pages"]} == {f"/no-signal/{name}/" for name in shell.PAGES}
    assert all(name.startswith(settings.STATIC_URL) for name in said["files"])
    for name in shell.PAGES:
        for address in re.findall(r'(?:src|href)="(/static/[^"]+\.(?:css|js))"', shell.page(name)):
            assert address in said["files"]
    for module in (settings.BASE_DIR / "static/js/outbox").glob("*.js"):
        assert f"{settings.STATIC_URL}js/outbox/{module.name}" in said["files"]
    assert f"{settings.STATIC_URL}js/camera.js" in said["files"]  # asked for by another script


def test_a_change_of_a_page_or_of_the_code_is_a_new_version(client, monkeypatch, tmp_path):
    versions = {kept_by_worker(client)["version"]}
    shell.worker.cache_clear()
    versions.add(kept_by_worker(client)["version"])
    assert len(versions) == 1
    shell.worker.cache_clear()
    monkeypatch.setitem(shell.PAGES, "birds", (lambda: "<p>Other words</p>", "pick", [shell.FLOCK]))
    shell.page.cache_clear()
    versions.add(kept_by_worker(client)["version"])
    other = tmp_path / "worker.js"
    other.write_text(shell.WORKER.read_text() + "// more")
    monkeypatch.setattr(shell, "WORKER", other)
    shell.worker.cache_clear()
    versions.add(kept_by_worker(client)["version"])
    assert len(versions) == 3


def test_modules_name_each_other_by_names_that_change(settings, tmp_path):
    settings.STATIC_ROOT = tmp_path / "collected"
    settings.STORAGES = {
        **settings.STORAGES,
        "staticfiles": {"BACKEND": "flockcare.core.static.StaticFiles"},
    }
    call_command("collectstatic", verbosity=0, interactive=False)
    folder = settings.STATIC_ROOT / "js"
    hashed = list((folder / "outbox").glob("*.*.js"))
    assert len(hashed) == len(list((settings.BASE_DIR / "static/js/outbox").glob("*.js")))
    (camera,) = folder.glob("camera.*.js")
    hashed.append(camera)
    named = [
        (path, other)
        for path in hashed
        for other in re.findall(r'from "\./([^"]+)"', path.read_text())
    ]
    assert len(named) > 10
    for path, other in named:
        assert re.search(r"\.[0-9a-f]{12}\.js$", other), path
        assert (path.parent / other).exists(), path
    assert camera in dict(named)


def test_the_manifest(client, settings):
    """W3C, Web Application Manifest: members, and icons of at least 192 and 512 pixels."""
    answer = client.get("/app.webmanifest")
    assert answer.headers["Content-Type"] == "application/manifest+json"
    said = answer.json()
    assert (said["start_url"], said["scope"], said["display"]) == ("/", "/", "standalone")
    sizes = {(one["sizes"], one["purpose"]) for one in said["icons"]}
    assert {("192x192", "any"), ("512x512", "any"), ("512x512", "maskable")} <= sizes
    for one in said["icons"]:
        path = settings.BASE_DIR / one["src"].lstrip("/")
        assert path.exists()
        if one["type"] == "image/png":
            with Image.open(path) as image:
                assert f"{image.width}x{image.height}" == one["sizes"]


@pytest.mark.parametrize("name", ICONS)
def test_the_icons_are_those_that_the_script_draws(name):
    with Image.open(FOLDER / name) as stored:
        drawn = icon(**ICONS[name])
        assert stored.size == drawn.size
        difference = ImageChops.difference(stored.convert("RGBA"), drawn)
        # Another version of the library may round an edge otherwise, but the foot is the same.
        assert max(high for _, high in difference.getextrema()) <= 40


def test_a_maskable_icon_keeps_the_foot_inside_the_safe_circle():
    """W3C, Web Application Manifest: the safe zone has a radius of 2/5 of the width."""
    image = icon(512, maskable=True).convert("L")
    ground = image.getpixel((1, 1))
    for x in range(0, 512, 4):
        for y in range(0, 512, 4):
            if (x - 256) ** 2 + (y - 256) ** 2 > (512 * 2 / 5) ** 2:
                assert abs(image.getpixel((x, y)) - ground) <= 2


def test_every_page_leads_to_manifest_and_outbox(cast):
    text = cast.clients.keeper.get(reverse("today", args=[cast.flock.pk])).content.decode()
    assert f'href="{reverse("offline:manifest")}"' in text
    assert f'href="{reverse("offline:outbox")}"' in text
    assert f'data-keeper="{cast.keeper.pk}"' in text
    assert Flock.objects.filter(pk=shell.FLOCK).count() == 0

"""A real installation, served as a user serves it, and a real Chromium to look at it."""

import contextlib
import json
import os
import shutil
import subprocess
from pathlib import Path
from types import SimpleNamespace

import pytest
from playwright.sync_api import expect, sync_playwright

from tests.browser.line import Line
from tests.running.served import Place

ROOT = Path(__file__).resolve().parents[2]
# As long as pages wait for what they are told to do; its own 5 s are short of it on a busy machine.
expect.set_options(timeout=15_000)
# Seconds between two pieces, much longer than a test needs from one line to the next.
PAUSE = 0.3
PHONE, LAPTOP = {"width": 390, "height": 844}, {"width": 1280, "height": 800}


def pytest_collection_modifyitems(items):
    for item in items:
        if "browser" in Path(item.path).parts:
            item.add_marker("browser")


def chromium() -> str:
    candidates = [os.environ.get("CHROMIUM"), "chromium", "chromium-browser", "google-chrome"]
    for candidate in filter(None, candidates):
        if path := shutil.which(candidate):
            return path
    pytest.fail(
        "The browser tests need a Chromium: on Debian `apt install chromium`; where it lies "
        "elsewhere, name it in the environment variable CHROMIUM."
    )


@pytest.fixture(scope="session")
def playwright():
    # Playwright keeps an event loop in this thread, which makes Django refuse to touch the
    # database in whatever test comes next; none of them is asynchronous.
    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "1"
    with sync_playwright() as playwright:
        yield playwright


@pytest.fixture(scope="session")
def browser(playwright):
    browser = playwright.chromium.launch(
        executable_path=chromium(),
        args=[
            "--no-sandbox",
            "--disable-dev-shm-usage",
            "--disable-gpu",
            "--disable-background-networking",
            "--disable-component-update",
            "--no-first-run",
            # A home network's name for the server, which is no secure place as localhost is.
            "--host-resolver-rules=MAP coop.test 127.0.0.1",
        ],
    )
    yield browser
    browser.close()


class Installation(Place):
    """``manage.py up`` in a folder of its own."""

    def __init__(self, folder: Path):
        super().__init__(folder, {"FLOCKCARE_HOSTS": "localhost,127.0.0.1,coop.test"})

    def start(self, *options: str):
        command = ("manage.py", "up", "--port", str(self.port), *options)
        self.begin(*command, stdout=subprocess.PIPE, text=True)
        for line in self.process.stdout:
            if "Stop with" in line:
                return
        pytest.fail("The server did not start.")


@pytest.fixture(scope="session")
def serving(pytestconfig):
    """``with serving(installation, "--demo"):`` its answers come in pieces where that is asked."""

    @contextlib.contextmanager
    def served(installation: Installation, *options: str):
        installation.start(*options)
        try:
            with Line(installation.port) as line:
                if pytestconfig.getoption("in_pieces"):
                    line.pause, installation.url = PAUSE, line.url
                yield installation
        finally:
            installation.stop()

    return served


@pytest.fixture(scope="session")
def installation(new_installation, serving, tmp_path_factory):
    with serving(Installation(new_installation(tmp_path_factory.mktemp("site")))) as installation:
        yield installation


# A file of tests has flocks of its own, so that none finds what another file has logged.
@pytest.fixture(scope="module")
def site(installation):
    """A flock of twelve with two keepers and three months of checks."""
    prepared = json.loads(installation.run("tests/browser/prepare.py"))
    return SimpleNamespace(url=installation.url, installation=installation, **prepared)


@pytest.fixture(scope="module")
def coop(installation):
    """Another flock in that installation, for tests that log more than others would expect."""
    prepared = json.loads(installation.run("tests/browser/prepare_coop.py"))
    return SimpleNamespace(url=installation.url, installation=installation, **prepared)


@pytest.fixture
def empty_site(new_installation, serving, tmp_path):
    with serving(Installation(new_installation(tmp_path))) as installation:
        yield installation


@pytest.fixture
def open_phone(browser, site, request):
    """``open_phone("ada")`` is a page signed in as that keeper, empty or ``at="today/"``."""
    contexts = []

    def opened(keeper: str, at: str = "", *, viewport=PHONE, scheme="light"):
        context = browser.new_context(
            viewport=viewport,
            color_scheme=scheme,
            has_touch=viewport == PHONE,
            base_url=site.url,
            # The worker has tests of its own; without it each request is seen as it is made.
            service_workers="block",
        )
        contexts.append(context)
        context.add_cookies(
            [{"name": "flockcare_session", "value": site.sessions[keeper], "url": site.url}]
        )
        page = context.new_page()
        page.set_default_timeout(15_000)
        page.problems = []
        page.on("pageerror", lambda error: page.problems.append(str(error)))
        page.on(
            "console",
            lambda message: (
                page.problems.append(message.text)
                if message.type == "error" and "422" not in message.text
                else None
            ),
        )
        if at:
            page.goto(f"/f/{site.flock}/{at}")
        return page

    yield opened
    problems = [
        problem for context in contexts for page in context.pages for problem in page.problems
    ]
    for context in contexts:
        context.close()
    assert not problems


@pytest.fixture
def sitters_phone(browser, site):
    """Of somebody who never signed in."""
    context = browser.new_context(viewport=PHONE, has_touch=True, service_workers="block")
    page = context.new_page()
    page.set_default_timeout(15_000)
    yield page
    context.close()

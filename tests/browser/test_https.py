"""A phone that has taken in the certificate of `up --lan`: it works there without signal."""

import json
import os
import re
import shutil
import subprocess

import pytest

from tests.browser.conftest import PHONE, Installation, chromium
from tests.browser.taps import both_feet_clear, until
from tests.browser.test_offline import all_sent, waiting
from tests.running.served import free_port


@pytest.fixture(scope="module")
def at_home(new_installation, tmp_path_factory):
    """An installation served with --lan; `https` is its address there."""
    place = Installation(new_installation(tmp_path_factory.mktemp("lan")))
    place.prepared = json.loads(place.run("tests/browser/prepare_coop.py"))
    ports = ("--port", str(place.port), "--https-port", str(free_port()))
    place.begin("manage.py", "up", "--lan", *ports, stdout=subprocess.PIPE, text=True)
    printed = ""
    for line in place.process.stdout:
        printed += line
        if "Stop with" in line:
            break
    place.https = re.search(r"https://[0-9.]+:\d+", printed)[0]
    place.plain = re.search(r"http://(?!127)[0-9.]+:\d+", printed)[0]
    yield place
    place.stop()


def trusted(home, certificate) -> None:
    """What a keeper does once on the phone, for Chromium on Linux."""
    certutil = shutil.which("certutil")
    if not certutil:
        pytest.fail("This test needs certutil: on Debian `apt install libnss3-tools`.")
    store = home / ".pki" / "nssdb"
    store.mkdir(parents=True)
    subprocess.run([certutil, "-d", f"sql:{store}", "-N", "--empty-password"], check=True)
    subprocess.run(
        [certutil, "-d", f"sql:{store}", "-A", "-t", "C,,", "-n", "home", "-i", certificate],
        check=True,
    )


def test_a_phone_takes_the_certificate_in_and_works_without_signal(playwright, at_home, tmp_path):

    def phone(home):
        return playwright.chromium.launch_persistent_context(
            home / "profile",
            executable_path=chromium(),
            args=["--no-sandbox", "--disable-dev-shm-usage", "--disable-gpu"],
            env={**os.environ, "HOME": str(home)},
            viewport=PHONE,
            has_touch=True,
            accept_downloads=True,
        )

    stranger = phone(tmp_path / "stranger")
    page = stranger.new_page()
    page.goto(f"{at_home.plain}/phone/")
    page.get_by_text("Do this once").wait_for()
    with page.expect_download() as download:
        page.get_by_role("link", name="Get the certificate").click()
    certificate = tmp_path / "taken.crt"
    download.value.save_as(certificate)
    assert not page.get_by_text("This phone is ready").is_visible()
    stranger.close()

    home = tmp_path / "phone"
    trusted(home, certificate)
    ready = phone(home)
    page = ready.new_page()
    page.goto(f"{at_home.plain}/phone/")
    page.get_by_text("This phone is ready").wait_for()
    page.get_by_role("link", name="Open Flockcare").click()
    page.wait_for_url(f"{at_home.https}/**")
    assert page.evaluate("isSecureContext && 'mediaDevices' in navigator")

    ready.add_cookies(
        [
            {
                "name": "flockcare_session",
                "value": at_home.prepared["sessions"]["una"],
                "url": at_home.https,
            }
        ]
    )
    page.goto(f"{at_home.https}/f/{at_home.prepared['flock']}/today/")
    until(page, "navigator.serviceWorker.controller !== null")
    ready.set_offline(True)
    page.goto(f"{at_home.https}/f/{at_home.prepared['flock']}/check/")
    page.locator(".bird-row").first.tap()
    both_feet_clear(page)
    page.wait_for_selector("text=Kept on this phone")
    assert waiting(page) == 1
    ready.set_offline(False)
    all_sent(page)
    ready.close()

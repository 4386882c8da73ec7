"""``manage.py up``: what it prepares, where it serves and what it says."""

import os
import re
import socket
import stat
import subprocess
import sys
from pathlib import Path

import pytest

from tests.running.served import free_port

pytestmark = pytest.mark.apart

ROOT = Path(__file__).resolve().parents[2]
# An installation of its own, whatever these tests themselves run on.
AROUND = {name: value for name, value in os.environ.items() if not name.startswith("FLOCKCARE_")}


@pytest.fixture
def folder(new_installation, tmp_path):
    return new_installation(tmp_path)


def up(folder, *arguments, **environment) -> subprocess.CompletedProcess:
    return subprocess.run(
        [sys.executable, "manage.py", "up", *arguments],
        cwd=ROOT,
        env={**AROUND, "FLOCKCARE_DATA": str(folder), **environment},
        capture_output=True,
        text=True,
        timeout=120,
    )


def until_ready(folder, *arguments, **environment) -> str:
    """What it prints until it serves."""
    process = subprocess.Popen(
        [sys.executable, "manage.py", "up", *arguments],
        cwd=ROOT,
        env={**AROUND, "FLOCKCARE_DATA": str(folder), **environment},
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )
    printed = ""
    for line in process.stdout:
        printed += line
        if "Stop with" in line:
            break
    process.terminate()
    process.wait(timeout=20)
    return printed


def test_the_key_is_made_once_and_is_nobody_elses(tmp_path):
    assert up(tmp_path, "--prepare-only").returncode == 0
    key = tmp_path / "secret-key"
    first = key.read_text()
    assert len(first) >= 50
    assert stat.S_IMODE(key.stat().st_mode) == 0o600
    assert up(tmp_path, "--prepare-only").returncode == 0
    assert key.read_text() == first


def test_it_serves_this_machine_only(folder):
    port = str(free_port())
    printed = until_ready(folder, "--port", port)
    assert f"Open http://127.0.0.1:{port}/" in printed
    assert "phone" not in printed


def test_with_lan_it_says_where_and_how_phones_work_without_signal(folder):
    ports = ("--port", str(free_port()), "--https-port", str(free_port()))
    printed = until_ready(folder, "--lan", *ports)
    if "in no network" in printed:
        pytest.fail("this machine has no network interface: give it one to test --lan")
    assert "On a phone in this network open http://" in printed
    assert "█" in printed or "▀" in printed, "a QR code"
    assert re.search(r"at https://[0-9.]+:\d+/, also without signal", printed)
    assert re.search(r"^([0-9A-F]{2}:){31}[0-9A-F]{2}$", printed, re.M), "the fingerprint"


def test_with_a_proxy_that_speaks_https_lan_needs_no_own(folder):
    printed = until_ready(folder, "--lan", "--port", str(free_port()), FLOCKCARE_PROXY="1")
    assert "https://" not in printed
    assert "Over plain HTTP" in printed
    assert not (folder / "https").exists()


def test_a_port_in_use_is_said_plainly(folder):
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        answer = up(folder, "--port", str(taken.getsockname()[1]))
    assert answer.returncode != 0
    assert "Choose another with --port." in answer.stderr


def test_a_wrong_setting_is_said_plainly(tmp_path):
    answer = up(tmp_path, "--prepare-only", FLOCKCARE_HTTPS="maybe")
    assert answer.returncode != 0
    assert "FLOCKCARE_HTTPS must be one of" in answer.stderr

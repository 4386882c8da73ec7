"""`up` answers a new visitor beside connections that are idle or never send a whole request."""

import subprocess
import sys
import time

import pytest

from flockcare.running import connections
from tests.running.served import ROOT, Up
from tests.running.slow import held, seconds_to_answer

pytestmark = pytest.mark.apart
# The design's, beyond what a page takes on this machine at this moment.
ALLOWED_SECONDS = 2.0


@pytest.fixture(scope="module")
def served(new_installation, tmp_path_factory):
    place = Up(new_installation(tmp_path_factory.mktemp("served")))
    place.start()
    yield place
    place.stop()


def longest(url: str) -> float:
    return max(seconds_to_answer(url, timeout=60) for _ in range(5))


def test_a_new_visitor_is_answered_beside_200_idle_and_100_unfinished(served):
    alone = longest(served.url)
    with held(served.url) as connections:
        connections.idle(200)
        connections.heads(50)
        connections.bodies(50)
        time.sleep(2)
        beside = longest(served.url)
        assert connections.closed == 0, "they are still held"
    assert beside <= 5 * alone + ALLOWED_SECONDS


def test_a_connection_that_says_nothing_more_is_closed(served):
    """Else whoever opens and forgets them uses them up in the end."""
    with held(served.url) as connections:
        connections.idle(3)
        assert connections.open_for(60) < 60


def test_a_system_that_allows_few_open_files_still_serves():
    """No more connections than there are files for, else the server itself cannot open any."""
    program = (
        "import resource; resource.setrlimit(resource.RLIMIT_NOFILE, (300, 300));"
        "from flockcare.running.connections import limits; print(limits()['connection_limit'])"
    )
    done = subprocess.run(
        [sys.executable, "-c", program], cwd=ROOT, capture_output=True, text=True, check=True
    )
    assert int(done.stdout) * connections.FILES_EACH <= 300


@pytest.mark.parametrize("signal", ["SIGTERM", "SIGINT"])
def test_it_ends_when_told_to_beside_idle_connections(new_installation, tmp_path, signal):
    import signal as signals

    place = Up(new_installation(tmp_path))
    place.start()
    with held(place.url) as connections:
        connections.idle(20)
        connections.heads(20)
        place.process.send_signal(getattr(signals, signal))
        place.process.wait(timeout=60)
    assert "Traceback" not in place.process.stdout.read()

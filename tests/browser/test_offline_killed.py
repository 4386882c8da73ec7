"""The server is killed while twenty phones send, and started again."""

import signal
import time

from tests.offline.audit import Folder, audit, stored
from tests.offline.entries import entries_for
from tests.offline.phones import Phone

PHONES, EACH = 20, 2


def test_nothing_acknowledged_is_lost_and_nothing_doubled(coop, record_property):
    installation = coop.installation
    before = stored(installation)
    birds, sessions = list(coop.birds.values()), list(coop.sessions.values())
    phones = [
        Phone(
            installation.port,
            coop.flock,
            sessions[number % len(sessions)],
            entries_for(birds, EACH, seed=number),
        )
        for number in range(PHONES)
    ]
    for phone in phones:
        phone.start()
    entries = [entry for phone in phones for entry in phone.entries]
    deadline = time.monotonic() + 60
    while sum(len(entry.acknowledged) for entry in entries) < PHONES:  # a quarter of all
        assert time.monotonic() < deadline, "The phones do not get through."
        time.sleep(0.01)
    installation.process.send_signal(signal.SIGKILL)
    installation.process.wait()
    installation.start()
    for phone in phones:
        phone.join(timeout=120)
    assert sum(phone.failures for phone in phones) > 0, "The server was never away."
    assert all(set(entry.acknowledged) == entry.keys for entry in entries)
    now = stored(installation)
    found = audit(now, Folder(installation), entries, flock=coop.flock, before=before)
    # What the killed process left behind waits for the sweep of leftovers.
    found.unowned.clear()
    record_property("lost or doubled", found.total())
    assert found.words() == []
    assert len(now["check"]) - len(before["check"]) == PHONES * EACH

"""The server is killed while twenty phones send, and started again."""

import signal
import time

from tests.offline.phones import Phone, entries_for, losses_and_doubles, stored

PHONES, EACH = 20, 2


def test_nothing_acknowledged_is_lost_and_nothing_doubled(coop, record_property):
    installation = coop.installation
    folder = installation.environment["FLOCKCARE_DATA"]
    before = stored(folder)
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
    assert not [reason for phone in phones for reason in phone.refused]
    assert all(entry.acknowledged == entry.keys for entry in entries)
    wrong = losses_and_doubles(folder, before, phones)
    record_property("lost or doubled", len(wrong))
    assert wrong == []
    assert len(stored(folder)["checks"]) - len(before["checks"]) == PHONES * EACH

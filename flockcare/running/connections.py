"""How many connections `up` holds.

waitress reads all of them beside each other and hands only whole requests to a thread, so what is
idle or slow costs a connection and a little memory, and keeps nobody waiting
(tests/bench/connections.py).
"""

import contextlib
import select

MOST = 1000
# Of each connection: itself, and a file each for a large request and a large answer.
FILES_EACH = 3
WANTED_FILES = MOST * FILES_EACH + 500
# Where there is no poll (Windows), select takes no more.
MOST_WITHOUT_POLL = 500


def limits() -> dict:
    """For waitress' ``create_server``."""
    polled = hasattr(select, "poll")
    return {
        "connection_limit": min(MOST, _files() // FILES_EACH) if polled else MOST_WITHOUT_POLL,
        "asyncore_use_poll": polled,
        # A browser opens another when it needs one; waitress' two minutes keep up to a hundred.
        "channel_timeout": 20,
        "cleanup_interval": 5,
        # A slow request may take this much memory; what is more goes to a file.
        "inbuf_overflow": 100_000,
    }


def _files() -> int:
    """How many files this process may have open, after asking for as many as are wanted."""
    import resource

    now, most = resource.getrlimit(resource.RLIMIT_NOFILE)
    if now == resource.RLIM_INFINITY:
        return WANTED_FILES
    wanted = WANTED_FILES if most == resource.RLIM_INFINITY else min(WANTED_FILES, most)
    if wanted > now:
        # Some systems have a lower limit than they say.
        with contextlib.suppress(OSError, ValueError):
            resource.setrlimit(resource.RLIMIT_NOFILE, (wanted, most))
            return wanted
    return now

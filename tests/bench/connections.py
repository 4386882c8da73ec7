"""How long a new visitor of `up` waits beside connections that are idle, slow or never end.

    .venv/bin/python tests/bench/connections.py        two minutes; kept in connections.txt
    .venv/bin/python tests/bench/connections.py URL    of a server that runs there already

Slow: a request of which one byte comes each second. Each line is the longest wait of five visitors
who come one after the other, the first two seconds after the connections stand.
"""

import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.running.served import Up, free_port
from tests.running.slow import held, seconds_to_answer

ALLOWED_SECONDS = 2.0
VISITORS = 5
BESIDE = {
    "nobody": {},
    "17 phones with 6 idle connections each": {"idle": 102},
    "200 idle connections": {"idle": 200},
    "99 half-sent headers": {"heads": 99},
    "99 half-sent bodies": {"bodies": 99},
    "300 half-sent headers": {"heads": 300},
    "300 half-sent bodies": {"bodies": 300},
    "200 idle, 150 half-sent headers, 150 half-sent bodies": {
        "idle": 200,
        "heads": 150,
        "bodies": 150,
    },
}


def longest_wait(url: str, beside: dict[str, int]) -> float:
    """Seconds; infinite where one was not answered at all."""
    with held(url) as connections:
        try:
            for kind, count in beside.items():
                getattr(connections, kind)(count)
        except OSError:
            return float("inf")
        time.sleep(2)
        waits = []
        for _ in range(VISITORS):
            waits.append(seconds_to_answer(url))
            if waits[-1] == float("inf"):
                break
        return max(waits)


def measure(url: str) -> bool:
    well = True
    for name, beside in BESIDE.items():
        longest = longest_wait(url, beside)
        well &= longest <= ALLOWED_SECONDS
        said = f"{longest:8.3f} s" if longest < float("inf") else "never, or not within 20 s"
        print(f"{name:56} {said}", flush=True)
        time.sleep(1)
    return well


def main() -> None:
    print(f"Longest wait of {VISITORS} new visitors; held to {ALLOWED_SECONDS:.0f} s\n\nbeside")
    if len(sys.argv) > 1:
        sys.exit(not measure(sys.argv[1]))
    with tempfile.TemporaryDirectory() as folder:
        place = Up(Path(folder))
        https_port = free_port()
        place.start("--lan", "--https-port", str(https_port))
        try:
            well = measure(place.url)
            print("\nthe same over HTTPS")
            well &= measure(f"https://127.0.0.1:{https_port}")
        finally:
            place.stop()
    sys.exit(not well)


if __name__ == "__main__":
    main()

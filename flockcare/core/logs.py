"""Logs that machines read: one JSON object a line, and nothing in it that says who or which bird.

A line for each request gives the pattern of its address, never the address itself: keys of flocks,
tokens and what was searched for stand in addresses. A message is written as it stands in the code,
without what is filled in; of an error its type and place are, not its words, in which databases
quote the record they complain of.
"""

import json
import logging
import time
import traceback
from datetime import UTC, datetime
from http.client import responses
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
requests = logging.getLogger("flockcare.requests")
_OF_A_REQUEST = ("method", "route", "status", "ms")


class JsonLines(logging.Formatter):
    """One JSON object a line.

    ``time``, ``process``, ``level``, ``logger``, ``message``; of a request ``method`` and so on;
    of an error ``error`` and ``at``, the innermost place last.
    """

    def format(self, record):
        line = {
            "time": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "process": record.process,
            "level": record.levelname,
            "logger": record.name,
            "message": _message(record),
            **{name: getattr(record, name) for name in _OF_A_REQUEST if hasattr(record, name)},
        }
        if record.exc_info and record.exc_info[0]:
            line["error"] = _type(record.exc_info[0])
            line["at"] = [
                f"{_place(frame.filename)}:{frame.lineno} {frame.name}"
                for frame in traceback.extract_tb(record.exc_info[2])
            ]
        return json.dumps(line)


def _message(record) -> str:
    if hasattr(record, "request"):
        # Django fills the address in, and sometimes what was sent.
        return responses.get(getattr(record, "status_code", None), "about a request")
    return record.msg if isinstance(record.msg, str) else _type(type(record.msg))


def _type(kind: type) -> str:
    return f"{kind.__module__}.{kind.__qualname__}"


def _place(file: str) -> str:
    path = Path(file)
    if "site-packages" in path.parts:
        return "/".join(path.parts[path.parts.index("site-packages") + 1 :])
    return str(path.relative_to(ROOT)) if path.is_relative_to(ROOT) else path.name


def log_requests(get_response):
    def middleware(request):
        start = time.perf_counter()
        response = get_response(request)
        requests.info(
            "request",
            extra={
                "method": request.method if request.method in _METHODS else "other",
                "route": getattr(request.resolver_match, "route", None),
                "status": response.status_code,
                "ms": round((time.perf_counter() - start) * 1000, 1),
            },
        )
        return response

    return middleware


_METHODS = {"GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS"}

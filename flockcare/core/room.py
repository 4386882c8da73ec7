"""A full disk: known by its errors, answered in words, and seen coming."""

import errno
import shutil
import sqlite3
import sys

from django.conf import settings
from django.http import HttpResponse, JsonResponse
from django.template.loader import render_to_string
from django.views.defaults import server_error

WORDS = (
    "Flockcare’s computer is full, so nothing can be saved now. Ask whoever looks after it to "
    "make room."
)
# Enough for a hundred photos or so; common practice, no published source.
LOW_BYTES = 500 * 10**6
INSUFFICIENT_STORAGE = 507  # RFC 4918, section 11.5

_NO_ROOM = {errno.ENOSPC, errno.EDQUOT}
# The second: no room for the file beside the database by which its users agree (SQLite, "Result
# and Error Codes").
_SQLITE_FULL = {sqlite3.SQLITE_FULL, sqlite3.SQLITE_IOERR_SHMSIZE}
_POSTGRESQL_FULL = "53100"  # "disk full": PostgreSQL 15, appendix A


def is_full(error: BaseException | None) -> bool:
    """Whether this error, or what led to it, says that there is no room left."""
    while error:
        if isinstance(error, OSError) and error.errno in _NO_ROOM:
            return True
        if getattr(error, "sqlite_errorcode", None) in _SQLITE_FULL:
            return True
        if getattr(error, "sqlstate", None) == _POSTGRESQL_FULL:
            return True
        error = error.__cause__ or error.__context__
    return False


def is_low() -> bool:
    """Whether the data folder's disk is nearly full."""
    try:
        return shutil.disk_usage(settings.DATA_DIR).free < LOW_BYTES
    except OSError:
        return True


def fault(request):
    """What Django shows for an error: 507 with words where it is a full disk, else its 500."""
    if not is_full(sys.exc_info()[1]):
        return server_error(request)
    if request.headers.get("HX-Request"):
        return HttpResponse(WORDS, status=INSUFFICIENT_STORAGE, content_type="text/plain")
    if request.get_preferred_type(["text/html", "application/json"]) == "application/json":
        key = getattr(request.resolver_match, "kwargs", {}).get("key", "")
        said = {"key": str(key), "reasons": [WORDS]}
        return JsonResponse(said, status=INSUFFICIENT_STORAGE)
    return HttpResponse(render_to_string("507.html"), status=INSUFFICIENT_STORAGE)

"""``/health/``: whether this process can answer keepers, for a balancer or a watchdog."""

import time

from django.core.files.storage import default_storage
from django.db import Error, connection
from django.db.models import Sum
from django.http import JsonResponse

from flockcare.core import room
from flockcare.core.files import check_writable
from flockcare.photos.models import FileCheck

PATH = "/health/"
# Object storage counts requests: what went well is not tried again for so long.
STORAGE_SECONDS = 30


class _Storage:
    """Whether files can be kept, as this process last saw it."""

    def __init__(self):
        self.good_until = 0.0

    def takes_files(self) -> bool:
        if time.monotonic() < self.good_until:
            return True
        try:
            check_writable(default_storage)
        # What a storage raises depends on its library; whatever it is, no photo can be kept.
        except Exception:
            return False
        self.good_until = time.monotonic() + STORAGE_SECONDS
        return True


def health(get_response):
    """Answers before anything else does: a balancer asks by address, over HTTP, without cookies."""
    storage = _Storage()

    def middleware(request):
        if request.path_info == PATH and request.method in ("GET", "HEAD"):
            return _answer(storage)
        return get_response(request)

    return middleware


def _answer(storage: _Storage) -> JsonResponse:
    needed = {"database": _database_answers(), "storage": storage.takes_files()}
    # What else is found is for a watchdog to report. No reason to be sent no visitors: everything
    # can still be read, and another process on the same disk would have no more room.
    return JsonResponse(
        {**needed, "space": not room.is_low(), "photos": _photos() if needed["database"] else None},
        status=200 if all(needed.values()) else 503,
        headers={"Cache-Control": "no-store"},
    )


def _database_answers() -> bool:
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
    except Error:
        return False
    return True


def _photos() -> dict[str, int]:
    """Photos with damaged files, and files without a record, when they were looked over last."""
    return FileCheck.objects.aggregate(
        damaged=Sum("damaged_photos", default=0), unowned=Sum("unowned_files", default=0)
    )

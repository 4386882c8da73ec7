"""Bringing an export in, in the background: who started it may close the page and come back.

The upload lies in a folder beside the records, and a row says how far it has come. A thread of the
process that took the upload works on it and says so every second. When nobody has for ``SILENT``,
because that process ended, any other of this machine begins anew; so does the same one, started
again. What is brought in and that it is done are saved in one transaction, and only while it is
still the worker's own: so nothing comes in twice, whoever else believes to be at work.
"""

import logging
import shutil
import threading
import time
import uuid
from collections import Counter
from dataclasses import asdict
from datetime import timedelta
from pathlib import Path

from django.conf import settings
from django.db import connections, transaction
from django.db.models import F, Q
from django.utils import timezone

from flockcare.birds.models import Bird, Weighing
from flockcare.care.models import CareStep
from flockcare.exchange.checking import is_empty
from flockcare.exchange.models import Import
from flockcare.exchange.pictures import WAITING
from flockcare.exchange.problems import Problem, Refused
from flockcare.exchange.services import Plan, apply, check, read_folder, records_of
from flockcare.feet.models import Check
from flockcare.people.models import Flock, Keeper
from flockcare.photos.models import Photo

logger = logging.getLogger(__name__)

SILENT = timedelta(minutes=2)
# For so long a result can be read again, and an upload waits for somebody to work on it.
KEPT, LONGEST = timedelta(days=30), timedelta(days=1)
# One that ends the process that works on it (by its memory, say) is not tried for ever.
MOST_TRIES = 3
_BEAT_SECONDS = 1

NAMES = {
    Bird: ("bird", "birds"),
    Check: ("check", "checks"),
    CareStep: ("care record", "care records"),
    Photo: ("photo", "photos"),
    Weighing: ("weighing", "weighings"),
}
OTHERS = ("other record", "other records")


class Stopped(Exception):
    """It was cancelled, or is another's by now."""


def begin(*, keeper: Keeper, file, name: str, into: Flock | None) -> Import:
    """Keep the upload and start. Refused where it can be told at once that it is no export."""
    job = Import(keeper=keeper, flock=into, name="" if into else name)
    folder = _folder(job)
    folder.mkdir(parents=True)
    try:
        with _upload(job).open("wb") as out:
            for chunk in file.chunks():
                out.write(chunk)
        tables = read_folder(_upload(job))
        tables.problems.refuse_if_any()
        job.photos = len(tables["photos.csv"])
        job.save(force_insert=True)
    except BaseException:
        shutil.rmtree(folder, ignore_errors=True)
        raise
    start(job)
    return job


def start(job: Import) -> None:
    """Work on it in a thread, unless somebody does."""
    run = threading.Thread(target=_in_thread, args=[job.pk], daemon=True, name="import")
    transaction.on_commit(run.start)


def _in_thread(key: uuid.UUID) -> None:
    try:
        work(key)
    finally:
        connections.close_all()


def is_left(job: Import, now=None) -> bool:
    """Whether nobody works on it, and it can be begun anew here."""
    silent = job.seen_at is None or job.seen_at < (now or timezone.now()) - SILENT
    return job.state == Import.State.WORKING and silent and _upload(job).exists()


def go_on_with_left() -> None:
    """Those whose worker has died are begun anew; what nobody can finish or look at ends."""
    now = timezone.now()
    working = Import.objects.filter(state=Import.State.WORKING)
    for job in working.filter(started_at__lt=now - LONGEST):
        # Its upload is gone, or was on a machine that is no longer there.
        _end(job.pk, None, [Problem("import", "It was not finished within a day. Send it again.")])
    for job in working:
        if is_left(job, now):
            start(job)
    Import.objects.filter(started_at__lt=now - KEPT).delete()


def cancel(job: Import) -> bool:
    """False when it is over already."""
    working = Import.objects.filter(pk=job.pk, state=Import.State.WORKING)
    if not working.update(state=Import.State.CANCELLED):
        return False
    shutil.rmtree(_folder(job), ignore_errors=True)
    return True


# --- The worker


class _Worker:
    """Who works on an import, as long as it is theirs."""

    def __init__(self, key: uuid.UUID):
        self.key, self.token = key, uuid.uuid4()
        self._said_at = time.monotonic()

    def takes(self) -> bool:
        now = timezone.now()
        left = Q(seen_at=None) | Q(seen_at__lt=now - SILENT)
        waiting = Import.objects.filter(left, pk=self.key, state=Import.State.WORKING)
        mine = {"worker": self.token, "seen_at": now, "photos_done": 0}
        return bool(waiting.update(**mine, tries=F("tries") + 1))

    def beat(self, photos_done: int) -> None:
        if time.monotonic() - self._said_at >= _BEAT_SECONDS:
            self.update(photos_done=photos_done)
            self._said_at = time.monotonic()

    def update(self, **values) -> None:
        mine = Import.objects.filter(pk=self.key, worker=self.token, state=Import.State.WORKING)
        if not mine.update(seen_at=timezone.now(), **values):
            raise Stopped


def work(key: uuid.UUID) -> None:
    """Bring it in, unless somebody else is at it or it is over."""
    worker = _Worker(key)
    if not worker.takes():
        return
    job = Import.objects.select_related("keeper", "flock").get(pk=key)
    try:
        if job.tries > MOST_TRIES:
            raise Refused([Problem("import", _CUT_OFF)])
        _bring_in(job, worker)
    except Stopped:
        return  # Whoever stopped it tidies up.
    except Refused as refused:
        ours = _end(key, worker, refused.problems, more=refused.more)
    except Exception:
        logger.exception("An import failed")
        problem = Problem("import", "Something went wrong here; the log says what. Try again.")
        ours = _end(key, worker, [problem])
    else:
        ours = True
    if ours:
        shutil.rmtree(_folder(job), ignore_errors=True)


_CUT_OFF = (
    f"It stopped {MOST_TRIES} times, perhaps for lack of memory. Import it on Flockcare’s "
    "computer, with manage.py import_records."
)


def _bring_in(job: Import, worker: _Worker) -> None:
    into = job.flock
    flock = into or Flock(name=job.name)
    tables = read_folder(_upload(job))
    worker.update(photos=len(tables["photos.csv"]))
    plan = check(tables, flock, keepers=None if into else [job.keeper], beat=worker.beat)
    try:
        _save(plan, job, worker)
    finally:
        plan.pictures.clear()


def _save(plan: Plan, job: Import, worker: _Worker) -> None:
    into, flock = job.flock, plan.flock
    worker.update(photos_done=plan.pictures.photos)
    if into and not is_empty(into):
        message = "Somebody has just recorded something in this flock, so it is not empty any more."
        raise Refused([Problem("import", message)])

    def done(changeset: int | None) -> None:
        worker.update(
            state=Import.State.DONE,
            flock=flock,
            told=in_words(plan),
            lost=plan.lost,
            changeset=changeset,
        )

    apply(plan, owner=job.keeper, by=job.keeper, whole=True, done=done)


def _end(key, worker: _Worker | None, problems: list[Problem], *, more: bool = False) -> bool:
    """False when it is over already, or another's."""
    mine = Import.objects.filter(pk=key, state=Import.State.WORKING)
    if worker:
        mine = mine.filter(worker=worker.token)
    ended = mine.update(
        state=Import.State.REFUSED,
        problems=[asdict(problem) for problem in problems],
        more_problems=more,
    )
    return bool(ended)


def _folder(job: Import) -> Path:
    """Beside the records; it goes like those of killed imports, if it is left there."""
    return settings.DATA_DIR / f"{WAITING}{job.pk}"


def _upload(job: Import) -> Path:
    return _folder(job) / "records.zip"


def in_words(plan: Plan) -> str:
    """What is new, such as ``16 birds, 820 checks``; each record once, in however many rows."""
    counted = Counter(NAMES.get(type(record), OTHERS) for record in records_of(plan))
    told = [
        f"{counted[names]} {names[counted[names] != 1]}"
        for names in (*NAMES.values(), OTHERS)
        if counted[names]
    ]
    return ", ".join(told) or "nothing new"

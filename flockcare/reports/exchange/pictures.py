"""Photos: read and made smaller before anything is saved, then matched with the checks.

A file that its hash tells to be an exported one is kept as it is (see ``originals``); any other is
taken in like a photo that a keeper sends.

A photo of a bird belongs to the check that ``check`` names, else to the check of that bird at the
same moment, else to the only one of that day. With a score and no check on that day it becomes a
check of its own.
"""

import tempfile
from collections import Counter, defaultdict
from dataclasses import dataclass, field
from datetime import date, datetime, timezone
from pathlib import Path

from django.core.files import File
from django.core.files.storage import default_storage

from flockcare.care.models import CareStep
from flockcare.core.dates import PartialDate
from flockcare.feet.models import Check, FootFinding, SortingNote
from flockcare.photos.intake import MAX_BYTES, RefusedPhoto, take_in
from flockcare.photos.models import DateSource, Photo, Precision
from flockcare.photos.services import prepare, remove
from flockcare.reports.exchange import cells, originals, shown
from flockcare.reports.exchange.columns import FILES
from flockcare.reports.exchange.looks import score as read_score
from flockcare.reports.exchange.rows import (
    KEYS,
    SORTING_ANSWERS,
    check_day_and_time,
    photo_cells,
    step_moment,
    taken_text,
)

FILE = "photos.csv"
NO_CHECK = "none"
_TOLD = ("bird", "foot", "taken", "note", "quarter_turns", "crop")
_foot = cells.for_field(Photo._meta.get_field("foot"))
_note = cells.for_field(Photo._meta.get_field("note"))
_source = cells.for_field(Photo._meta.get_field("taken_source"))
_quarter_turns = cells.for_field(Photo._meta.get_field("quarter_turns"), cells.integer)


@dataclass
class Pictures:
    """Finished picture files, waiting in a folder that goes away with this object."""

    waiting: list[tuple[Path, str]] = field(default_factory=list)
    _folder: tempfile.TemporaryDirectory | None = None

    def keep(self, files: dict[str, bytes]) -> None:
        if self._folder is None:
            self._folder = tempfile.TemporaryDirectory(prefix="flockcare-import-")
        for name, data in files.items():
            path = Path(self._folder.name, str(len(self.waiting)))
            path.write_bytes(data)
            self.waiting.append((path, name))

    def store(self) -> list[str]:
        """Copy everything into the storage; on failure nothing stays there."""
        stored = []
        try:
            for path, name in self.waiting:
                with path.open("rb") as file:
                    stored.append(default_storage.save(name, File(file)))
        except BaseException:
            remove(stored)
            raise
        return stored


@dataclass
class _Candidate:
    """A photo row that was read, with what decides about its check."""

    row: object
    photo: Photo
    score: int | None
    check: str
    care: str

    def day(self, zone) -> str:
        """The day it was taken, empty when that is not known to the day."""
        known = self.photo.taken_precision in (Precision.MOMENT, Precision.DAY)
        return taken_text(self.photo, zone)[:10] if known else ""


def check_photos(work) -> None:
    if not work.tables[FILE]:
        return
    existing = {photo.sha256: photo for photo in Photo.objects.filter(flock=work.flock)}
    in_file = {}
    candidates = work.read(FILE).each(lambda row: _photo(work, row, existing, in_file))
    candidates = [candidate for candidate in candidates if candidate]
    if candidates:
        _Checks(work).attach(candidates)
        _attach_to_steps(work, [one for one in candidates if one.care])
    # Rows of other files that speak of a photo with a problem of its own need no second message.
    for row in work.tables[FILE]:
        work.photos.setdefault(row.cells.get("file", ""), Photo(flock=work.flock))


def named_photo(work, row, column: str = "file", name: str | None = None) -> Photo | None:
    """The photo of that name in photos.csv; without ``name`` the whole cell is one."""
    name = row.need(column, cells.plain) if name is None else name
    photo = work.photos.get(name)
    if name and photo is None:
        row.wrong(column, f"There is no photo “{name}” in {FILE}.")
    return photo


def _attach_to_steps(work, candidates) -> None:
    if not candidates:
        return
    steps = defaultdict(dict)
    for step in (
        *CareStep.objects.filter(flock=work.flock).select_related("keeper", "item"),
        *work.plan.new[CareStep],
    ):
        steps[step.bird_id].setdefault(step_moment(step, work.zone), []).append(step)
    for candidate in candidates:
        for name, step in _named(candidate.care, steps[candidate.photo.bird_id].get):
            if step:
                work.plan.attached.append((step, candidate.photo))
            else:
                candidate.row.wrong("care", f"She has no step of care “{name}”.")


def _named(text: str, records_called):
    """Each name in ``text`` with its record, or None; named again it means the next one called so.

    ``records_called(name)`` gives all of that name.
    """
    for name, times in Counter(part.strip() for part in text.split(";")).items():
        for record in (records_called(name) or [None])[:times]:
            yield name, record


def _photo(work, row, existing, in_file) -> _Candidate | None:
    before = len(work.problems)
    value = row.get("score", read_score)
    details, sorting = _details(work, row), _sorting(work, row)
    picture = _take_in(work, row)
    if picture is None:
        return None
    try:
        details["crop"] = shown.fitting(details["crop"], picture)
    except ValueError as error:
        row.wrong("crop", str(error))
    if len(work.problems) > before:
        return None
    sha256 = row.get("sha256", cells.sha256, picture.sha256)
    known = existing.get(sha256) or existing.get(picture.sha256)
    if known:
        _already_there(work, row, Photo(flock=work.flock, **details), known)
        work.photos[row.text("file")] = known
        return None
    if sha256 in in_file:
        row.wrong("file", f"This is the same picture as “{in_file[sha256]}”.")
        return None
    in_file[sha256] = row.text("file")
    if details["taken"] is None and picture.taken:
        details |= _by_the_camera(picture, work.zone)
    picture = shown.as_shown(picture, quarter_turns=details["quarter_turns"], crop=details["crop"])
    photo, files = prepare(picture, flock=work.flock, **details)
    photo.sha256 = sha256
    work.sign(row, photo, "keeper")
    work.photos[row.text("file")] = photo
    work.plan.add(photo)
    if sorting:
        work.plan.add(SortingNote(photo=photo, **sorting))
    work.plan.pictures.keep(files)
    return _Candidate(row, photo, value, row.text("check"), row.text("care"))


def _details(work, row) -> dict:
    taken, precision = row.get(
        "taken", lambda text: _taken(text, work.zone), (None, Precision.UNKNOWN)
    )
    source = row.get("taken_source", _source, DateSource.HAND if taken else "")
    # A camera's clock may be wrong, and what it wrote is kept; a keeper who says so is asked.
    if taken and source == DateSource.HAND and taken > work.now:
        row.wrong("taken", f"{row.text('taken')} is in the future.")
    return {
        "bird": row.find("bird", "bird", work.birds) if row.text("bird") else None,
        "foot": row.get("foot", _foot, ""),
        "taken": taken,
        "taken_precision": precision,
        "taken_source": source,
        "note": row.get("note", _note, ""),
        "of_house": row.get("of_house", cells.yes_or_no, False),
        "added_at": row.get("added", cells.instant(work.zone), work.now),
        "quarter_turns": row.get("quarter_turns", _quarter_turns, 0),
        "crop": row.get("crop", shown.box),
    }


def _sorting(work, row) -> dict:
    """What was found out while it was sorted; empty for most photos."""
    found = {name: row.get(name, cells.yes_or_no) for name in SORTING_ANSWERS}
    if row.text("card_bird"):
        found["card_bird"] = row.find("card_bird", "bird", work.birds)
    found["card_foot"] = row.get("card_foot", _foot)
    return {name: value for name, value in found.items() if value}


def _by_the_camera(picture, zone) -> dict:
    local, offset = picture.taken
    clock = zone if offset is None else timezone(offset)
    return {
        "taken": local.replace(tzinfo=clock),
        "taken_precision": Precision.MOMENT,
        "taken_source": DateSource.CAMERA,
    }


def _take_in(work, row):
    name = row.text("file")
    source = work.tables.source
    if not name:
        row.wrong("file", "This must not be empty.")
        return None
    try:
        size = source.size(name)
        if size is None:
            row.wrong("file", f"There is no file “{name}”.")
        elif size > MAX_BYTES:
            row.wrong("file", f"“{name}” is larger than 30 MB.")
        else:
            with source.open(name) as stream:
                picture = take_in(stream, name)
                stream.seek(0)
                told = row.get("file_sha256", cells.sha256)
                return originals.as_it_was(picture, stream.read(), told)
    except (ValueError, OSError) as error:
        row.wrong("file", str(error))
    except RefusedPhoto as refused:
        row.wrong("file", refused.reason)
    return None


def _taken(text: str, zone) -> tuple[datetime, Precision]:
    """The earliest moment that a text like 2023, 2023-05, 2023-05-14 or 2023-05-14 16:05 means."""
    day_part, _, clock_part = text.replace("T", " ").partition(" ")
    partial = PartialDate.parse(day_part)
    clock = cells.clock(clock_part.strip()) if clock_part else None
    if clock and not partial.day:
        raise ValueError(f"“{text}” has a time but no day.")
    at = cells.moment(partial.first(), clock or cells.MIDNIGHT, zone)
    if clock:
        return at, Precision.MOMENT
    return at, Precision.DAY if partial.day else (
        Precision.MONTH if partial.month else Precision.YEAR
    )


def _already_there(work, row, photo, known) -> None:
    here, there = (
        dict(zip(FILES[FILE].all, photo_cells(one, KEYS, work.zone), strict=True))
        for one in (photo, known)
    )
    for column in _TOLD:
        if row.text(column) and here[column] != there[column]:
            row.wrong(column, "This picture is in the flock already, with another value here.")
            return
    work.plan.already_there[FILE] += 1


class _Checks:
    """The checks that photos can belong to: those of the flock and those about to be added."""

    def __init__(self, work):
        self.work = work
        self.by_moment, self.by_day = defaultdict(list), defaultdict(list)
        self.scores = {}
        for check in Check.objects.filter(flock=work.flock).prefetch_related("findings"):
            self._know(check, check.findings.all())
        findings = defaultdict(list)
        for finding in work.plan.new[FootFinding]:
            findings[finding.check_record_id].append(finding)
        for check in work.plan.new[Check]:
            self._know(check, findings[check.pk])

    def _know(self, check, findings) -> None:
        day, clock = check_day_and_time(check, self.work.zone)
        self.by_day[check.bird_id, day].append(check)
        self.by_moment[check.bird_id, f"{day} {clock}".strip()].append(check)
        self.scores.update({(check.pk, finding.foot): finding.score for finding in findings})

    def attach(self, candidates) -> None:
        candidates = [one for one in candidates if one.check != NO_CHECK]
        groups = defaultdict(list)
        for candidate in candidates:
            if self._needs_a_check(candidate):
                groups[candidate.photo.bird_id, candidate.day(self.work.zone)].append(candidate)
        for (_, on), group in groups.items():
            self._make_check(date.fromisoformat(on), group)
        for candidate in candidates:
            for check in self._checks_of(candidate):
                self._join(candidate, check)

    def _needs_a_check(self, candidate) -> bool:
        if candidate.score is None or candidate.check:
            return False
        photo, day = candidate.photo, candidate.day(self.work.zone)
        if not (photo.bird_id and photo.foot and day):
            candidate.row.wrong("score", "A score needs a bird, a foot and a day.")
            return False
        return not self.by_day.get((photo.bird_id, day))

    def _checks_of(self, candidate) -> list[Check]:
        bird, day = candidate.photo.bird_id, candidate.day(self.work.zone)
        if candidate.check:
            return self._as_told(candidate)
        same_moment = self.by_moment.get((bird, taken_text(candidate.photo, self.work.zone)))
        that_day = self.by_day.get((bird, day), [])
        if same_moment or len(that_day) == 1:
            return (same_moment or that_day)[:1]
        if that_day and candidate.score is not None:
            message = "She has several checks on that day: name one under “check”."
            candidate.row.wrong("score", message)
        return []

    def _as_told(self, candidate) -> list[Check]:
        def called(moment):
            checks = self.by_moment.get((candidate.photo.bird_id, moment), [])
            # Of several checks at one moment those that say what the photo says come first.
            return sorted(checks, key=lambda check: not self._says_the_same(candidate, check))

        found = []
        for moment, check in _named(candidate.check, called):
            if check:
                found.append(check)
            else:
                candidate.row.wrong("check", f"She has no check at “{moment}”.")
        return found

    def _says_the_same(self, candidate, check) -> bool:
        return self.scores.get((check.pk, candidate.photo.foot)) == candidate.score

    def _join(self, candidate, check) -> None:
        known = self.scores.get((check.pk, candidate.photo.foot))
        if candidate.score is None or candidate.score == known:
            self.work.plan.attached.append((check, candidate.photo))
            return
        said = "nothing about this foot" if known is None else known
        candidate.row.wrong("score", f"Her check of that day says {said}.")

    def _make_check(self, on, group) -> None:
        moments = [c.photo.taken for c in group if c.photo.taken_precision == Precision.MOMENT]
        noon = cells.moment(on, cells.NOON, self.work.zone)
        check = Check(
            flock=self.work.flock,
            bird=group[0].photo.bird,
            at=min(moments, default=min(noon, self.work.now)),
            time_known=bool(moments),
        )
        by_foot = {one.photo.foot: one.score for one in reversed(group)}
        findings = [
            FootFinding(check_record=check, foot=foot, score=score)
            for foot, score in by_foot.items()
        ]
        self.work.plan.add(check, *findings)
        self._know(check, findings)

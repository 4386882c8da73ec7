"""The photos; the files lie beside this one."""

from collections import defaultdict
from dataclasses import replace

from django.core.exceptions import ValidationError

from flockcare.care.models import CareStep
from flockcare.exchange import cells, pictures
from flockcare.exchange.joining import NO_CHECK, Candidate, join
from flockcare.exchange.tables.base import Table, keys, read_all, write_all
from flockcare.exchange.tables.care import step_name
from flockcare.exchange.tables.checks import moment_name
from flockcare.exchange.tables.columns import Kind, bird, code, fields_of, person
from flockcare.exchange.taken import read_taken, taken_text
from flockcare.feet.models import Check, FootFinding, SortingNote
from flockcare.photos.dating import by_camera
from flockcare.photos.editing import fitting_box
from flockcare.photos.models import DateSource, Photo, Precision
from flockcare.photos.services import prepare

_photo, _finding = fields_of(Photo), fields_of(FootFinding)
_sorting = fields_of(SortingNote, part="sorting")


def _box(text: str) -> list[int]:
    edges = [cells.integer(part) for part in text.split()]
    if len(edges) != 4:
        raise ValueError(f"“{text}” is not four numbers: left, top, right, bottom.")
    return edges


class Photos(Table):
    """``check``: day and time of the check it belongs to, or "none"; empty leaves it to the day.
    ``sha256``: of the file as it was first sent, so that it is known again. ``care``: the steps it
    was taken with, each as its day, time, kind and foot.
    """

    name = "photos.csv"
    about = "The photos; the files lie beside this one."
    model = Photo
    columns = (
        code("file", "Path of the file.", required=True),
        bird("Whose foot; empty: nobody has said yet.", required=False),
        _photo("foot", "Which foot; empty: not known, or all of the bird."),
        code("taken", "When it was taken: a year, month, day, or day and time."),
        fields_of(FootFinding)(
            "score", "Lesion score of this foot in the check it belongs to.", attr=""
        ),
        _photo("note"),
        # These may be left out.
        _photo("taken_source", "Where that date is from."),
        code("check", "Day and time of her checks it belongs to, or “none”."),
        _photo(
            "sha256",
            "SHA-256 of the file as it was first sent.",
            Kind.CODE,
            reader=cells.sha256,
            attr="",
        ),
        code("care", "The care records it was taken with: day, time, kind and foot."),
        _photo(
            "quarter_turns",
            "How it is turned to be seen, clockwise.",
            unit="quarters",
            writer=lambda turns: str(turns or ""),
        ),
        _photo(
            "crop",
            "The part that is seen: left, top, right, bottom in pixels.",
            Kind.CODE,
            reader=_box,
            writer=lambda box: " ".join(map(str, box)),
        ),
        # What was found out while old photos were sorted.
        bird("Whose printed card is in it.", "card_bird", required=False, part="sorting"),
        _sorting("card_foot", "For which foot that card is."),
        _sorting("card_answered", "A keeper said whether the card names the photos that follow."),
        _sorting("kept_beside_alike", "It is kept although another looks like it."),
        _sorting("nobody_knows", "Nobody knows whose foot it is."),
        person("Who added it, by name."),
        _photo("added", "When it was added.", field="added_at"),
        _photo("of_house", "It shows a house or a paper, no bird."),
        _photo("face_since", "Since when it stands for her in lists; the newest counts."),
        _photo("film_focal_mm", "Focal length of its lens on 35 mm film.", unit="mm"),
        code("file_sha256", "SHA-256 of the file; where it fits, the file is kept as it is."),
        code("lost", "Only where its file was lost: the width and height it had, in pixels."),
    )
    contradiction = "This picture is in the flock already, with another value here."

    # --- Writing

    def rows(self, outgoing):
        checks = Check.photos.through.objects.filter(photo__flock=outgoing.flock)
        checks = _by_photo(checks.prefetch_related("check__findings"), "check")
        steps = CareStep.photos.through.objects.filter(photo__flock=outgoing.flock)
        steps = _by_photo(steps, "carestep")
        names = outgoing.names
        for photo in outgoing.photos:
            hers, tended = (
                [one for one in found[photo.pk] if outgoing.goes_with(one, photo)]
                for found in (checks, steps)
            )
            file = names.photos[photo.pk]
            row = self.to_row(photo, names) | {
                "file": file,
                "score": _score(hers, photo.foot),
                "check": ";".join(sorted(moment_name(one, names) for one in hers)) or NO_CHECK,
                "care": ";".join(sorted(step_name(step, names) for step in tended)),
                "file_sha256": outgoing.digests.get(file, ""),
                "lost": "" if file in outgoing.digests else f"{photo.width} {photo.height}",
            }
            yield self.cells(row), keys(photo)

    def to_row(self, photo, names):
        row = super().to_row(photo, names)
        row |= {"taken": taken_text(photo, names.zone), "sha256": photo.sha256}
        if sorting := getattr(photo, "sorting", None):
            row |= write_all(self.columns_of("sorting"), sorting, names)
        return row

    # --- Reading

    def plan(self, work) -> None:
        if not work.tables[self.name]:
            return
        existing = {photo.sha256: photo for photo in Photo.objects.filter(flock=work.flock)}
        in_file = {}
        found = work.read(self).each(lambda row: self._plan_row(row, existing, in_file))
        join(work, [candidate for candidate in found if candidate])
        # Rows of other files that speak of a photo with a problem of its own need no second one.
        for row in work.tables[self.name]:
            work.photos.setdefault(row.cells.get("file", ""), Photo(flock=work.flock))

    def _plan_row(self, row, existing, in_file) -> Candidate | None:
        work, name = row.work, row.text("file")
        score, values = self.column("score").value(row), self.values(row)
        sorting = read_all(self.columns_of("sorting"), row)
        picture = pictures.picture_of(row)
        work.plan.pictures.photos += 1
        if picture is None:
            return None
        try:
            box = fitting_box(values.get("crop"), picture.width, picture.height)
            values["crop"] = box
        except ValidationError as error:
            row.wrong("crop", error.message)
        sha256 = self.column("sha256").value(row) or picture.sha256
        if not row.good:
            return None
        if known := existing.get(sha256) or existing.get(picture.sha256):
            self._already_there(row, Photo(flock=work.flock, **values), known)
            work.photos[name] = known
            return None
        if sha256 in in_file:
            row.wrong("file", f"This is the same picture as “{in_file[sha256]}”.")
            return None
        in_file[sha256] = name
        if values["taken"] is None:
            dated = by_camera(picture.taken, zone=work.zone, now=work.now)
            values |= dated.fields() if dated.taken else {}
        photo = work.photos[name] = self._plan(row, replace(picture, sha256=sha256), values)
        if any(sorting.values()):
            work.plan.add(SortingNote(photo=photo, **sorting))
        return Candidate(row, photo, score, row.text("check"), row.text("care"))

    def _plan(self, row, picture, values: dict) -> Photo:
        plan, is_lost = row.work.plan, not picture.original
        if not is_lost:
            turns = values.get("quarter_turns", 0)
            picture = pictures.as_shown(picture, quarter_turns=turns, crop=values["crop"])
        photo, files = prepare(picture, flock=row.work.flock, **values)
        if is_lost:
            plan.lost.append(row.text("file"))
        else:
            plan.pictures.keep(files)
        self.add(row, photo)
        return photo

    def values(self, row) -> dict:
        work = row.work
        taken, precision = row.get(
            "taken", lambda text: read_taken(text, work.zone), (None, Precision.UNKNOWN)
        )
        values = {"taken": taken, "taken_precision": precision, "added_at": work.now}
        if taken:
            values["taken_source"] = DateSource.HAND
        values |= super().values(row)
        # A camera's clock may be wrong, and what it wrote is kept; a keeper who says so is asked.
        if taken and values["taken_source"] == DateSource.HAND and taken > work.now:
            row.wrong("taken", f"{row.text('taken')} is in the future.")
        return values

    def _already_there(self, row, photo, known) -> None:
        here, there = (self.to_row(one, row.work.keys) for one in (photo, known))
        for name in ("bird", "foot", "taken", "note", "quarter_turns", "crop"):
            if self.differ(row, name, here, there):
                row.wrong(name, self.contradiction)
                return
        row.work.plan.already_there[self.name] += 1


def named_photo(row, column: str, name: str) -> Photo | None:
    """The photo of that name in photos.csv."""
    photo = row.work.photos.get(name)
    if name and photo is None:
        row.wrong(column, f"There is no photo “{name}” in {Photos.name}.")
    return photo


def _by_photo(links, record: str) -> dict:
    found = defaultdict(list)
    for link in links.select_related(record):
        found[link.photo_id].append(getattr(link, record))
    return found


def _score(checks, foot: str) -> str:
    scores = {
        str(finding.score)
        for check in checks
        for finding in check.findings.all()
        if finding.foot == foot
    }
    return scores.pop() if len(checks) == len(scores) == 1 else ""

"""A flock's records as tables, each in an order that the records alone decide.

One table after the other, so that never more than one is in memory. Rows that say the same stand
in the order in which their records were changed, and then it does not matter any more.

Others go on recording meanwhile: what hangs on a record that came too late is left for next time,
so that no row names a thing that the files do not hold.
"""

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator

from django.utils.text import slugify

from flockcare.birds.models import Bird, Weighing
from flockcare.care.models import CareStep, KitItem
from flockcare.exchange import rows
from flockcare.exchange.columns import FILES
from flockcare.exchange.joining import NO_CHECK
from flockcare.exchange.labels import label_birds
from flockcare.exchange.past import Past
from flockcare.feet.models import Check, Round, RoundBird
from flockcare.housing.models import Feature, House, HousingChange, Stay, Walk
from flockcare.people.models import Byline, Flock
from flockcare.photos.models import Measurement, Photo
from flockcare.trends.models import WindowChoice

# Checks and steps are read in parts, so that those of ten years are not in memory at once.
AT_ONCE = 1000

Table = list[list[str]]


class Collector:
    def __init__(self, flock: Flock):
        self.flock, self.zone = flock, flock.zone
        self.birds = list(Bird.objects.filter(flock=flock).select_related("breed"))
        self.labels = label_birds(self.birds)
        bylines = Byline.objects.filter(flock=flock).values_list("record", "field", "name")
        self.bylines = {(record, name): text for record, name, text in bylines}
        self.houses = set(House.objects.filter(flock=flock).values_list("pk", flat=True))
        self.items = set(KitItem.objects.filter(flock=flock).values_list("pk", flat=True))
        photos = Photo.objects.filter(flock=flock).select_related("sorting", "keeper")
        self.photos = list(self._in_time(photos.order_by("sha256")))
        # What each photo is called in the exchange.
        self.files = _file_names(self.photos, self.labels, self.zone)
        self.past = Past(flock, self.bylines)
        # Keys of checks and steps whose rows are written, and what rounds call their checks.
        self.written: set = set()
        self.check_names: dict = {}

    def stored(self) -> dict[str, str]:
        """For each photo's name in the exchange its name in the storage."""
        return {self.files[photo.pk]: photo.path() for photo in self.photos}

    def tables(self) -> Iterator[tuple[str, Table]]:
        """Each file's name and rows, but for those that need all others or the pictures."""
        for name in FILES:
            if name not in ("photos.csv", "history.csv"):
                yield name, self._table(name)

    def _table(self, name: str) -> Table:
        pairs = getattr(self, f"_{name.removesuffix('.csv')}")()
        return self._in_order(name, pairs)

    def photo_table(self, digests: dict[str, str]) -> Table:
        """``digests``: SHA-256 of each file that is not lost, by its name in the exchange."""
        return self._in_order("photos.csv", self._photos(digests))

    def history_table(self) -> Table:
        """Refers to the rows of all others, so it comes last."""
        return self.past.table()

    def _in_order(self, name: str, pairs: Iterable[tuple[list[str], tuple]]) -> Table:
        """Sort ``(cells, records)``, and let the history know the records by their places."""
        first = _by_day(name)
        pairs = sorted(
            pairs,
            key=lambda pair: (
                *([pair[0][at] for at in first], pair[0]),
                *(self.past.marks(record) for record in pair[1]),
            ),
        )
        for _, records in pairs:
            self.past.know(*records)
        return [cells for cells, _ in pairs]

    def _in_time(self, records):
        """Those of which all that they belong to is in the files."""
        for record in records:
            belongs = (
                (getattr(record, "bird_id", None), self.labels),
                (getattr(record, "house_id", None), self.houses),
                (getattr(record, "item_id", None), self.items),
            )
            if all(key is None or key in known for key, known in belongs):
                yield record

    # --- The files: pairs of a row's cells and the records it stands for

    def _flock(self):
        yield rows.flock_cells(self.flock), ()

    def _birds(self):
        for bird in self.birds:
            yield rows.bird_cells(bird, self.labels[bird.pk]), (bird, bird.breed)

    def _weights(self):
        weighings = Weighing.objects.filter(flock=self.flock).select_related("keeper")
        for weighing in self._in_time(weighings):
            yield rows.weighing_cells(weighing, self.labels, self.bylines), (weighing,)

    def _housing(self):
        features = defaultdict(list)
        for feature in (
            Feature.objects.filter(flock=self.flock)
            .select_related("house")
            .prefetch_related("states")
        ):
            features[feature.house_id].append(feature)
        for house in House.objects.filter(pk__in=self.houses):
            about_it = rows.house_cells(house)
            if any(about_it[1:]) or not features[house.pk]:
                yield about_it, (house,)
            for feature in features[house.pk]:
                for state in feature.states.all() or [None]:
                    yield rows.feature_cells(feature, state), (house, feature, state)

    def _housing_changes(self):
        for change in self._in_time(self._changes(planned=False)):
            yield rows.change_cells(change, self._names(change), self.bylines), (change,)

    def _housing_plans(self):
        plans = []
        changes = self._changes(planned=True).prefetch_related("planned_states__feature")
        for plan in self._in_time(changes):
            start = rows.change_cells(plan, self._names(plan), self.bylines)
            states = [
                (rows.planned_cells(state), (plan, state)) for state in plan.planned_states.all()
            ]
            states.sort(key=lambda pair: pair[0])
            plans.append(
                [(start + cells, records) for cells, records in states]
                or [(start + rows.planned_cells(), (plan,))]
            )
        yield from _numbered(plans)

    def _changes(self, planned: bool):
        return (
            HousingChange.objects.filter(flock=self.flock, planned=planned)
            .select_related("house", "keeper")
            .prefetch_related("photos")
        )

    def _names(self, change) -> list[str]:
        return [self.files[photo.pk] for photo in change.photos.all() if photo.pk in self.files]

    def _walks(self):
        walks = Walk.objects.filter(flock=self.flock).select_related("house", "keeper")
        for walk in self._in_time(walks):
            yield rows.walk_cells(walk, self.bylines), (walk,)

    def _stays(self):
        for stay in self._in_time(Stay.objects.filter(flock=self.flock).select_related("house")):
            yield rows.stay_cells(stay, self.labels), (stay,)

    def _checks(self):
        checks = Check.objects.filter(flock=self.flock).select_related("keeper")
        checks = checks.prefetch_related("findings").order_by("at", "received_at", "pk")
        pairs = [
            (rows.check_cells(check, check.findings.all(), self.labels, self.zone), _Key(check))
            for check in self._in_time(checks.iterator(AT_ONCE))
        ]
        self.written.update(key.pk for _, key in pairs)
        pairs.sort(key=lambda pair: pair[0])
        self._name_checks_of_rounds(pairs)
        for cells, key in pairs:
            yield cells, (key,)

    def _name_checks_of_rounds(self, pairs) -> None:
        """A round calls its checks by their moments, numbered where a bird has several at one."""
        seen = RoundBird.objects.filter(round__flock=self.flock, check_record__isnull=False)
        wanted, counted = set(seen.values_list("check_record", flat=True)), Counter()
        for cells, key in pairs:
            moment = " ".join(cells[1:3]).strip()
            counted[cells[0], moment] += 1
            if key.pk in wanted:
                number = counted[cells[0], moment]
                self.check_names[key.pk] = numbered(moment, number)

    def _rounds(self):
        rounds = []
        for round_ in (
            Round.objects.filter(flock=self.flock)
            .select_related("started_by")
            .prefetch_related("birds")
        ):
            start = rows.round_cells(round_, self.zone, self.bylines)
            birds = sorted(
                [
                    self.labels[one.bird_id],
                    str(one.place),
                    self.check_names.get(one.check_record_id, ""),
                    "yes" if one.passed_over else "",
                ]
                for one in self._in_time(round_.birds.all())
            )
            rounds.append([(start + bird, (round_,)) for bird in birds or [[""] * 4]])
        yield from _numbered(rounds)

    def _kit(self):
        for item in KitItem.objects.filter(pk__in=self.items):
            yield rows.kit_cells(item), (item,)

    def _care(self):
        steps = CareStep.objects.filter(flock=self.flock)
        steps = steps.select_related("keeper", "item", "dropped_by", "claimed_by")
        for step in self._in_time(steps.iterator(AT_ONCE)):
            self.written.add(step.pk)
            yield rows.care_cells(step, self.labels, self.zone, self.bylines), (_Key(step),)

    def _measurements(self):
        for measurement in Measurement.objects.filter(
            flock=self.flock, photo__deleted_at=None
        ).select_related("keeper"):
            if measurement.photo_id not in self.files:
                continue
            cells = rows.measurement_cells(measurement, self.files, self.zone, self.bylines)
            yield cells, (measurement,)

    def _windows(self):
        choices = WindowChoice.objects.filter(flock=self.flock)
        for choice in self._in_time(choices.select_related("house", "keeper")):
            yield rows.window_cells(choice, self.zone, self.bylines), (choice,)

    def _photos(self, digests):
        checks, zone = defaultdict(list), self.zone
        links = Check.photos.through.objects.filter(photo__flock=self.flock)
        for link in links.select_related("check__keeper").prefetch_related("check__findings"):
            checks[link.photo_id].append(link.check)
        steps = defaultdict(list)
        links = CareStep.photos.through.objects.filter(photo__flock=self.flock)
        for link in links.select_related("carestep__keeper", "carestep__item"):
            steps[link.photo_id].append(link.carestep)
        for photo in self.photos:
            hers, tended = (
                [one for one in found[photo.pk] if self._goes_with(one, photo)]
                for found in (checks, steps)
            )
            moments = sorted(
                " ".join(rows.check_day_and_time(check, zone)).strip() for check in hers
            )
            file = self.files[photo.pk]
            cells = rows.photo_cells(
                photo,
                self.labels,
                zone,
                file=file,
                score=_score(hers, photo.foot),
                check=";".join(moments) or NO_CHECK,
                care=";".join(sorted(rows.step_moment(step, zone) for step in tended)),
                sorting=getattr(photo, "sorting", None),
                file_sha256=digests.get(file, ""),
                lost=file not in digests,
                bylines=self.bylines,
            )
            yield cells, (photo,)

    def _goes_with(self, record, photo) -> bool:
        return record.bird_id == photo.bird_id and record.pk in self.written


class _Key:
    """What is remembered of a record once its row is written."""

    __slots__ = ("_meta", "pk")

    def __init__(self, record):
        self._meta, self.pk = record._meta, record.pk


def numbered(name: str, number: int) -> str:
    """What the first, second … of several things of one name is called."""
    return name if number == 1 else f"{name} ({number})"


def _by_day(name: str) -> list[int]:
    """Checks, care and weighings go by day, everything else by its cells from left to right."""
    columns = FILES[name].all
    return [columns.index(column) for column in ("date", "time") if column in columns]


def _numbered(groups: list[list[tuple[list[str], tuple]]]):
    """Put the number of its group in front of each row, in the order of what the groups say."""
    groups.sort(key=lambda group: [cells for cells, _ in group])
    width = len(str(len(groups)))
    for number, group in enumerate(groups, 1):
        for cells, records in group:
            yield [f"{number:0{width}}", *cells], records


def _score(checks, foot: str) -> str:
    scores = {
        str(finding.score)
        for check in checks
        for finding in check.findings.all()
        if finding.foot == foot
    }
    return scores.pop() if len(checks) == len(scores) == 1 else ""


def _file_names(photos, labels, zone) -> dict:
    names = set()
    return {photo.pk: _file_name(photo, labels, zone, names) for photo in photos}


def _file_name(photo, labels, zone, names: set[str]) -> str:
    taken = rows.taken_text(photo, zone)[:10] or "undated"
    bird = slugify(labels[photo.bird_id]) if photo.bird_id else "unknown"
    start = "-".join(part for part in (taken, bird, photo.foot) if part)
    digits = next(n for n in range(8, 65) if f"{start}-{photo.sha256[:n]}" not in names)
    names.add(f"{start}-{photo.sha256[:digits]}")
    return f"photos/{start}-{photo.sha256[:digits]}.jpg"

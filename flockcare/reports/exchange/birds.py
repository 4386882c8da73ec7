"""Birds and what they weigh."""

from collections import defaultdict

from flockcare.birds.breeds import BY_NAME
from flockcare.birds.models import BandColour, Bird, Breed, Sex, Weighing
from flockcare.core.dates import PartialDate
from flockcare.reports.exchange import cells
from flockcare.reports.exchange.columns import FILES
from flockcare.reports.exchange.labels import label_birds
from flockcare.reports.exchange.reader import RowReader
from flockcare.reports.exchange.rows import bird_cells

FILE = "birds.csv"
BIRD, BREED = Bird._meta.get_field, Breed._meta.get_field

_text = {
    "name": cells.for_field(BIRD("name")),
    "band_number": cells.for_field(BIRD("band_number")),
    "traits": cells.for_field(BIRD("traits")),
    "left_note": cells.for_field(BIRD("left_note")),
    "breed": cells.for_field(BREED("name")),
    "breed_source": cells.for_field(BREED("source")),
}
_weight_class = cells.for_field(BIRD("own_weight_class"))
_left_reason = cells.for_field(BIRD("left_reason"))
_sex = cells.for_field(BIRD("sex"))
_adult_grams = cells.for_field(BREED("adult_grams"), cells.integer)
_grams = cells.for_field(Weighing._meta.get_field("grams"), cells.integer)


def check_birds(work) -> None:
    """Plan the new birds and know every bird by the name the other files may use for her."""
    existing = list(Bird.objects.filter(flock=work.flock).select_related("breed"))
    labels = label_birds(existing)
    work.birds = {labels[bird.pk].lower(): bird for bird in existing}
    breeds = {breed.name.lower(): breed for breed in Breed.objects.filter(flock=work.flock)}
    by_name = defaultdict(list)
    for bird in existing:
        by_name[bird.name.lower()].append(bird)
    in_file, here = {}, set()

    def build(row):
        before = len(work.problems)
        bird = _bird(work, row, breeds)
        label = row.text("bird")
        if len(work.problems) > before:
            return
        if label.lower() in in_file:
            row.wrong("bird", f"“{label}” is in this file twice.")
            return
        in_file[label.lower()] = _same_or_new(work, row, bird, by_name, here)

    work.read(FILE).each(build)
    work.birds.update((label, bird) for label, bird in in_file.items() if bird)
    # Rows of other files that speak of a bird with a problem of her own need no second message.
    for row in work.tables[FILE]:
        work.birds.setdefault(row.cells.get("bird", "").lower(), Bird(flock=work.flock))


def _bird(work, row: RowReader, breeds) -> Bird:
    colour, number = _band(row)
    bird = Bird(
        flock=work.flock,
        name=_name(row),
        band_colour=colour,
        band_number=number,
        breed=_breed(work, row, breeds),
        sex=row.get("sex", _sex, Sex.HEN),
        own_weight_class=row.get("weight_class", _weight_class, ""),
        hatched=row.get("hatched", cells.partial_day, ""),
        joined=row.get("joined", cells.partial_day, ""),
        traits=row.get("traits", _text["traits"], ""),
        left=row.get("left", cells.partial_day, ""),
        left_reason=row.get("left_reason", _left_reason, ""),
        left_note=row.get("left_note", _text["left_note"], ""),
    )
    if bird.left and not row.text("left_reason"):
        row.wrong("left_reason", "Say why she left.")
    _order_of_dates(row, bird)
    return bird


def _name(row) -> str:
    """Her name; what the file calls her is free where she has one besides."""
    if not row.text("name"):
        return row.need("bird", _text["name"]) or ""
    row.need("bird", cells.plain)
    return row.get("name", _text["name"], "")


def _order_of_dates(row, bird) -> None:
    for column, later, earlier in (
        ("joined", bird.joined, bird.hatched),
        ("left", bird.left, bird.joined or bird.hatched),
    ):
        if earlier and later:
            last, first = PartialDate.parse(later).last(), PartialDate.parse(earlier).first()
            if last < first:
                row.wrong(column, f"This is before {earlier}.")


def _band(row) -> tuple[str, str]:
    first, _, rest = row.text("band").partition(" ")
    colour = first.lower() if first.lower() in BandColour.values else ""
    number = rest.strip() if colour else row.text("band")
    try:
        return colour, _text["band_number"](number)
    except ValueError as error:
        row.wrong("band", str(error))
        return "", ""


def _breed(work, row, breeds) -> Breed | None:
    name = row.get("breed", _text["breed"])
    if name is None:
        return None
    grams = row.get("breed_adult_grams", _adult_grams)
    source = row.get("breed_source", _text["breed_source"], "")
    breed = breeds.get(name.lower())
    if breed is None:
        published = BY_NAME.get(name.lower())
        if published and "breed_adult_grams" not in work.tables.columns[FILE]:
            grams, source = published.grams, published.source
        breed = Breed(flock=work.flock, name=name, adult_grams=grams, source=source)
        breeds[name.lower()] = breed
        work.plan.add(breed)
    elif grams and grams != breed.adult_grams:
        row.wrong(
            "breed_adult_grams",
            f"{breed.name}: {grams} g here, {breed.adult_grams or 'not known'} elsewhere.",
        )
    return breed


def _same_or_new(work, row, bird, by_name, here) -> Bird | None:
    """The bird of the flock that this row describes, else ``bird``, planned; None on conflict.

    ``by_name``: the birds of the flock that no row has described yet. ``here``: the names of those
    planned that did not leave.
    """
    name = bird.name.lower()
    namesakes = by_name[name]
    for other in namesakes:
        if not _differences(row, bird, other):
            namesakes.remove(other)
            work.plan.already_there[FILE] += 1
            return other
    for other in namesakes:
        differences = _differences(row, bird, other)
        if _may_be_one(bird, other, differences):
            column, here, there = differences[0]
            row.wrong(
                column,
                f"A bird called {other.name} is in the flock already, with “{there}” here in "
                f"place of “{here}”. Change it in the app, or, for another bird, say when she "
                "joined or hatched.",
            )
            return None
    if not bird.left and name in here:
        row.wrong("name" if row.text("name") else "bird", f"Two birds here are called {bird.name}.")
        return None
    if not bird.left:
        here.add(name)
    work.plan.add(bird)
    return bird


def _differences(row, bird, other) -> list[tuple[str, str, str]]:
    """(column, in the file, in the flock) wherever the file says something else."""
    columns = FILES[FILE].all
    pairs = zip(columns, bird_cells(bird, ""), bird_cells(other, ""), strict=True)
    return [
        (column, here, there)
        for column, here, there in pairs
        if row.text(column) and here.lower() != there.lower()
    ]


def _may_be_one(bird, other, differences) -> bool:
    """Whether both can be one bird of which two things are told: certainly if both are here."""
    if not bird.left and not other.left:
        return True
    told_apart = {column for column, _, there in differences if there}
    if told_apart & {"hatched", "joined", "band"}:
        return False
    first, second = sorted((bird, other), key=lambda one: (one.left == "", one.left))
    came_later = (
        second.joined
        and PartialDate.parse(second.joined).first() >= PartialDate.parse(first.left).first()
    )
    return not came_later


def check_weights(work) -> None:
    weighings = Weighing.objects.filter(flock=work.flock).select_related("bird")
    known = {(weighing.bird_id, weighing.on): weighing.grams for weighing in weighings}
    past = cells.not_after(work.today, cells.day)

    def build(row):
        bird = row.find("bird", "bird", work.birds)
        on, grams = row.need("date", past), row.need("grams", _grams)
        if bird is None or on is None or grams is None:
            return
        before = known.setdefault((bird.pk, on), None)
        if before is None:
            known[bird.pk, on] = grams
            weighing = Weighing(flock=work.flock, bird=bird, on=on, grams=grams)
            work.sign(row, weighing, "keeper")
            work.plan.add(weighing)
        elif before == grams:
            work.plan.already_there["weights.csv"] += 1
        else:
            row.wrong("grams", f"She has been weighed on this day already: {before} g.")

    work.read("weights.csv").each(build)

"""The birds, and their breeds with them."""

from collections import defaultdict

from flockcare.birds.models import BandColour, Bird, Breed
from flockcare.birds.services import new_breed
from flockcare.core.dates import PartialDate
from flockcare.exchange.labels import label_birds
from flockcare.exchange.problems import EMPTY
from flockcare.exchange.tables.base import Table, keys, read_all, write_all
from flockcare.exchange.tables.columns import Column, fields_of

_bird, _breed = fields_of(Bird), fields_of(Breed)
_name = Bird._meta.get_field("name")


class Birds(Table):
    """``bird`` is what the other files call her. Where two birds of one name have to be told apart
    it differs from her real name, which then stands in ``name``.
    """

    name = "birds.csv"
    about = "The birds, those that left too."
    model = Bird
    columns = (
        Column("bird", "What the other files call her.", required=True, field=_name),
        Column(
            "band",
            "Colour and number of the leg band, such as “green 12”.",
            field=Bird._meta.get_field("band_number"),
        ),
        _breed("breed", "Her breed.", field="name", part="breed"),
        _bird("weight_class", "Where it is not that of her breed.", field="own_weight_class"),
        _bird("hatched", "When she hatched.", past=True),
        _bird("joined", "When she came to this flock.", past=True),
        _bird("left", "When she left the flock; empty: she is here.", past=True),
        _bird("left_reason", "Why she left."),
        # These may be left out.
        Column("name", "Her real name, where “bird” differs to tell two birds apart.", field=_name),
        _bird("sex", "Hen or cock."),
        _bird("traits", "What stays with her, such as an old injury."),
        _bird("left_note", "Notes about her leaving, also of a post-mortem."),
        _breed(
            "breed_adult_grams",
            "Adult weight of a hen of this breed.",
            unit="g",
            field="adult_grams",
            part="breed",
        ),
        _breed("breed_source", "Where that weight is from.", field="source", part="breed"),
    )

    # --- Writing

    def rows(self, outgoing):
        for bird in outgoing.birds:
            row = self.to_row(bird, outgoing.names, outgoing.names.birds[bird.pk])
            yield self.cells(row), keys(bird, bird.breed)

    def to_row(self, bird, names, label="") -> dict[str, str]:
        row = super().to_row(bird, names) | {"bird": label, "band": bird.band}
        row["name"] = bird.name if bird.name != label else ""
        return row | (write_all(self.columns_of("breed"), bird.breed, names) if bird.breed else {})

    # --- Reading

    def plan(self, work) -> None:
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
            bird, label = self.from_row(row, breeds), row.text("bird")
            if not row.good:
                return
            if label.lower() in in_file:
                row.wrong("bird", f"“{label}” is in this file twice.")
                return
            in_file[label.lower()] = self._same_or_new(row, bird, by_name, here)

        work.read(self).each(build)
        work.birds.update((label, bird) for label, bird in in_file.items() if bird)
        # Rows of other files that speak of a bird with a problem of her own need no second message.
        for row in work.tables[self.name]:
            work.birds.setdefault(row.cells.get("bird", "").lower(), Bird(flock=work.flock))

    def from_row(self, row, breeds) -> Bird:
        colour, number = self._band(row)
        bird = Bird(
            flock=row.work.flock,
            name=self._name(row),
            band_colour=colour,
            band_number=number,
            breed=self._breed(row, breeds),
            **self.values(row),
        )
        return self.checked(row, bird)

    def _name(self, row) -> str:
        """Her name; what the file calls her is free where she has one besides."""
        named = "name" if row.text("name") else "bird"
        if named == "name" and not row.text("bird"):
            row.wrong("bird", EMPTY)
        return self.column(named).value(row) or ""

    def _band(self, row) -> tuple[str, str]:
        first, _, rest = row.text("band").partition(" ")
        colour = first.lower() if first.lower() in BandColour.values else ""
        number = rest.strip() if colour else row.text("band")
        try:
            return colour, self.column("band").parse(number, row.work)
        except ValueError as error:
            row.wrong("band", str(error))
            return "", ""

    def _breed(self, row, breeds) -> Breed | None:
        if not row.text("breed"):
            return None
        told = read_all(self.columns_of("breed"), row)
        name, grams = told["name"] or "", told.get("adult_grams")
        breed = breeds.get(name.lower())
        if breed is None:
            breed = new_breed(flock=row.work.flock, name=name)
            if "breed_adult_grams" in row.work.tables.columns[self.name]:
                breed = Breed(flock=row.work.flock, **told)
            breeds[name.lower()] = breed
            row.work.plan.add(breed)
        elif grams and grams != breed.adult_grams:
            there = breed.adult_grams or "not known"
            row.wrong("breed_adult_grams", f"{breed.name}: {grams} g here, {there} elsewhere.")
        return breed

    def _same_or_new(self, row, bird, by_name, here) -> Bird | None:
        """The bird of the flock that this row describes, else ``bird``, planned; None on conflict.

        ``by_name``: the birds of the flock that no row has described yet. ``here``: the names of
        those planned that did not leave.
        """
        work, name = row.work, bird.name.lower()
        namesakes = by_name[name]
        for other in namesakes:
            if not self._differences(row, bird, other):
                namesakes.remove(other)
                work.plan.already_there[self.name] += 1
                return other
        for other in namesakes:
            differences = self._differences(row, bird, other)
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
            named = "name" if row.text("name") else "bird"
            row.wrong(named, f"Two birds here are called {bird.name}.")
            return None
        if not bird.left:
            here.add(name)
        work.plan.add(bird)
        return bird

    def _differences(self, row, bird, other) -> list[tuple[str, str, str]]:
        """(column, in the file, in the flock) wherever the file says something else."""
        keys = row.work.keys
        here, there = self.to_row(bird, keys), self.to_row(other, keys)
        return [
            (name, here.get(name, ""), there.get(name, ""))
            for name in self.all
            if row.text(name) and here.get(name, "").lower() != there.get(name, "").lower()
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

"""One bird with something of everything, for the tests of the vet sheet; dates in 2026."""

import io
import uuid
from datetime import UTC, date, datetime, timedelta

from PIL import Image, ImageDraw

from flockcare.birds.models import Bird, Breed, Weighing
from flockcare.care.models import CareStep
from flockcare.feet.models import Check, FootFinding
from flockcare.housing.models import Feature, FeatureState, House, HousingChange, Stay
from flockcare.photos.models import Measurement, Photo, Precision
from flockcare.photos.services import add_photo

PX_PER_MM = 8.0
SIZE = (640, 480)
BAR_MM = (20.0, 5.0)  # A black bar in each painted photo, and how thick it is.


def at(month, day, hour=9, year=2026):
    return datetime(year, month, day, hour, tzinfo=UTC)


def look(bird, when, *, by=None, left=0, right=0, **general):
    """A check of both feet; ``left`` and ``right`` are scores or the fields of a finding."""
    check = Check.objects.create(flock=bird.flock, bird=bird, at=when, keeper=by, **general)
    for foot, seen in (("left", left), ("right", right)):
        fields = seen if isinstance(seen, dict) else {"score": seen}
        FootFinding.objects.create(check_record=check, foot=foot, **fields)
    return check


def step(bird, when, kind, **fields):
    return CareStep.objects.create(
        flock=bird.flock, bird=bird, at=when, kind=kind, **{"foot": "left", **fields}
    )


def painted(seed=0, size=SIZE, px_per_mm=PX_PER_MM) -> io.BytesIO:
    """A grey photo with a black bar of known size around its middle, not quite like any other."""
    image = Image.new("RGB", size, (200, 190, 170))
    draw = ImageDraw.Draw(image)
    middle = size[0] / 2, size[1] / 2
    width, height = (side * px_per_mm for side in BAR_MM)
    draw.rectangle(
        (
            middle[0] - width / 2,
            middle[1] - height / 2,
            middle[0] + width / 2 - 1,
            middle[1] + height / 2 - 1,
        ),
        "black",
    )
    place = 10 * (seed % 30), 10 * (seed // 30)
    draw.rectangle((*place, place[0] + 8, place[1] + 8), (seed * 7 % 255, 90, 160))
    stream = io.BytesIO()
    image.save(stream, "JPEG", quality=95)
    return stream


def photo(
    bird, when, *, foot="left", seed=0, size=SIZE, px_per_mm=PX_PER_MM, by=None, **fields
) -> Photo:
    found, _ = add_photo(
        flock=bird.flock,
        keeper=by,
        upload=painted(seed, size, px_per_mm),
        name=f"{seed}.jpg",
        bird=bird,
        foot=foot,
    )
    fields = {
        "taken": when,
        "taken_precision": Precision.MOMENT,
        "taken_source": "camera",
        **fields,
    }
    Photo.objects.filter(pk=found.pk).update(**fields)
    found.refresh_from_db()
    return found


def measure(of: Photo, *, area=60.0, error=0.06, longest=9.0, px_per_mm=PX_PER_MM):
    """As if its sore had been outlined around the middle, seen straight from above."""
    x, y = of.width / 2 - 0.5, of.height / 2 - 0.5
    side = 4 * px_per_mm
    corners = [
        (x - side, y - side),
        (x + side, y - side),
        (x + side, y + side),
        (x - side, y + side),
    ]
    step_mm = 1 / px_per_mm
    return Measurement.objects.create(
        flock=of.flock,
        photo=of,
        scaled_by="length",
        length_mm=20,
        to_mm=[[step_mm, 0, 0], [0, step_mm, 0], [0, 0, 1]],
        outline_px=corners,
        outline_mm=[[px * step_mm, py * step_mm] for px, py in corners],
        area_mm2=area,
        perimeter_mm=30.0,
        longest_diameter_mm=longest,
        relative_area_error=error,
        at=of.taken or at(1, 1),
    )


def full_bird(flock, owner, keeper) -> Bird:
    """Łopian: a case that healed, one that has not, medicine with days and without, two houses."""
    breed = Breed.objects.create(flock=flock, name="Sussex", adult_grams=3180, source="a table")
    bird = Bird.objects.create(
        flock=flock,
        name="Łopian",
        band_colour="green",
        band_number="12",
        breed=breed,
        hatched="2024-03-05",
        joined="2024-05",
        traits="Old break of the left leg, ½ turn outwards",
    )
    for month, day, grams in ((2, 1, 3050), (5, 1, 3120), (8, 1, 3250)):
        Weighing.objects.create(
            flock=flock, bird=bird, on=date(2026, month, day), grams=grams, keeper=keeper
        )
    look(bird, at(2, 1), by=owner)
    look(
        bird,
        at(3, 1),
        by=owner,
        left={"score": 1, "sites": ["main"], "scab": "brown", "scab_mm": 4},
    )
    look(bird, at(3, 15), by=keeper)
    look(bird, at(7, 1), by=owner, gait=2, note="Jürgen says “she limps ≤ 2 steps”")
    look(
        bird,
        at(8, 1),
        by=keeper,
        gait=3,
        manner="dull",
        right={
            "score": 2,
            "sites": ["main", "toe II"],
            "scab": "black",
            "scab_mm": 8,
            "swelling": "from above",
            "hot": True,
            "clinical_grade": 3,
        },
    )
    step(bird, at(3, 1, 10), "soaked", product="warm water", keeper=owner)
    for day in (2, 3, 4, 9):
        step(bird, at(3, day), "dressing changed", product="gauze", keeper=keeper)
    step(
        bird,
        at(8, 2),
        "medicine",
        foot="right",
        product="Tablets from the vet",
        keeper=owner,
        given_until=date(2026, 8, 9),
        egg_days=10,
        days_from="vet",
        decided_by="vet",
        batch="B-12",
        note="half a tablet as the vet said",
    )
    barn, ark = (House.objects.create(flock=flock, name=name) for name in ("Barn", "Ark"))
    Stay.objects.create(flock=flock, bird=bird, house=barn, until=date(2026, 4, 1))
    Stay.objects.create(flock=flock, bird=bird, house=ark, since=date(2026, 4, 1))
    roost = Feature.objects.create(flock=flock, house=ark, name="Top roost", kind="roost")
    for since, height in ((date(2026, 1, 1), 120), (date(2026, 6, 1), 60)):
        FeatureState.objects.create(flock=flock, feature=roost, since=since, height_cm=height)
    HousingChange.objects.create(
        flock=flock,
        house=ark,
        on=date(2026, 6, 1),
        kind="height",
        note="Lowered for the heavy ones",
    )
    for number, (month, area) in enumerate(((7, 40.0), (8, 60.0)), start=1):
        # From the right foot's case, and one before it.
        taken = photo(bird, at(month, 20), foot="right", seed=number, note="after a bath")
        measure(taken, area=area)
    photo(bird, at(3, 1), foot="left", seed=3)
    return bird


def other_bird(flock) -> Bird:
    """A hen whose every word must never be seen on the sheet of another."""
    bird = Bird.objects.create(flock=flock, name="Marjoram", traits="stray traits of Marjoram")
    look(bird, at(5, 5), left=2, note="stray note")
    step(bird, at(5, 5), "ointment", product="stray ointment")
    photo(bird, at(5, 5), seed=40, note="stray photo")
    return bird


def many_records(bird, *, years: int, photos=0, newest=date(2026, 8, 20)) -> None:
    """Weekly checks over so many years, care in each of the sores, and photos."""
    checks, findings, steps = [], [], []
    last = datetime(newest.year, newest.month, newest.day, 9, tzinfo=UTC)
    for week in range(52 * years):
        check = Check(id=uuid.uuid4(), flock=bird.flock, bird=bird, at=last - timedelta(7 * week))
        checks.append(check)
        for foot in ("left", "right"):
            score = int(week % 26 < 5 and foot == "left")
            findings.append(FootFinding(check_record=check, foot=foot, score=score))
        if week % 26 < 5:
            steps += [
                CareStep(
                    flock=bird.flock,
                    bird=bird,
                    foot="left",
                    kind=kind,
                    product=f"product {week % 9}",
                    at=check.at + timedelta(hours=1),
                    note=f"note of week {week}",
                )
                for kind in ("soaked", "dressing changed")
            ]
    Check.objects.bulk_create(checks)
    FootFinding.objects.bulk_create(findings)
    CareStep.objects.bulk_create(steps)
    for number in range(photos):
        taken = photo(bird, last - timedelta(30 * number), seed=50 + number, size=(320, 240))
        if number % 2:
            measure(taken, px_per_mm=3.2)

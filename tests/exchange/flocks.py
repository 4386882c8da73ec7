"""Invented flocks of every shape, for hypothesis: records of all kinds, in all their corners."""

import datetime as dt
from decimal import Decimal

from hypothesis import strategies as st

from flockcare.birds.breeds import WeightClass
from flockcare.birds.models import BandColour, Bird, Breed, LeftReason, Sex, Weighing
from flockcare.care.models import (
    WITHHOLDING,
    Bleeding,
    CareStep,
    DaysFrom,
    DecidedBy,
    ItemKind,
    KitItem,
    MedicineGiven,
    Outcome,
    StepKind,
    VetContact,
)
from flockcare.feet.models import FOOT_SIGNS, Check, Comb, FootFinding, Round, RoundBird, Scab, Site
from flockcare.housing.models import (
    ChangeKind,
    Dampness,
    EggCount,
    Event,
    EventKind,
    Feature,
    FeatureKind,
    FeatureState,
    House,
    HousingChange,
    PlannedState,
    Stay,
    Walk,
    Wetness,
)
from flockcare.people import history
from flockcare.people.models import Flock, Revision, Units
from flockcare.photos.models import Foot
from flockcare.trends.models import WindowChoice

# Surrogates are no text, and NUL cannot be kept by PostgreSQL.
letters = st.characters(exclude_categories=["Cs"], exclude_characters="\0")
notes = st.one_of(st.text(letters, max_size=12), st.text("'=+-@\t\r\n\",; ab", max_size=8))
# One line, as a form leaves it: without blanks at its ends, and with something in it.
names = (
    st.text(st.characters(categories=["L", "N", "P", "S"]), min_size=1, max_size=9)
    .map(lambda text: f"{text} x".strip())
    .filter(lambda text: text == text.strip())
)
words = st.one_of(st.just(""), names)
days = st.dates(dt.date(2019, 1, 1), dt.date(2024, 5, 30))
maybe_days = st.none() | days
# hypothesis draws datetimes between naive ones; they are told to be UTC afterwards.
_FIRST, _LAST = dt.datetime(2019, 1, 1), dt.datetime(2024, 5, 30)  # noqa: DTZ001
_CLOCKS_CHANGE = dt.datetime(2023, 10, 29), dt.datetime(2023, 10, 29, 3)  # noqa: DTZ001
exact_moments = st.one_of(st.datetimes(_FIRST, _LAST), st.datetimes(*_CLOCKS_CHANGE)).map(
    lambda at: at.replace(tzinfo=dt.UTC)
)
# To the second, as the time of a check is written.
moments = exact_moments.map(lambda at: at.replace(microsecond=0))
partial = st.one_of(st.just(""), days.map(str), days.map(lambda d: str(d)[:7]))
measures = st.none() | st.floats(0.1, 90).map(lambda value: round(value, 6))
small = st.none() | st.integers(0, 300)
ZONES = ["UTC", "Europe/London", "America/St_Johns", "Asia/Tokyo"]


def one_of(choices):
    return st.sampled_from([value for value, _ in choices.choices])


def maybe(choices):
    return st.one_of(st.just(""), one_of(choices))


@st.composite
def flocks(draw) -> Flock:
    """A saved flock; ``draw`` decides everything in it."""
    flock = Flock.objects.create(
        name=draw(names),
        time_zone=draw(st.sampled_from(ZONES)),
        units=draw(one_of(Units)),
        round_days=draw(st.integers(1, 120)),
        recheck_days=draw(st.integers(1, 60)),
    )
    houses = _houses(draw, flock)
    birds = _birds(draw, flock, houses)
    if birds:
        _looks(draw, flock, birds)
        _care(draw, flock, birds)
    _history(draw, flock)
    return flock


def _some(draw, most=3):
    return range(draw(st.integers(0, most)))


def _houses(draw, flock):
    kept = []
    for name in draw(st.lists(names, max_size=2, unique_by=str.lower)):
        house = House.objects.create(
            flock=flock,
            name=name,
            note=draw(notes),
            floor_length_cm=draw(st.none() | st.just(200.5)),
        )
        kept.append(house)
        features = [
            Feature.objects.create(
                flock=flock, house=house, name=each, kind=draw(one_of(FeatureKind))
            )
            for each in draw(st.lists(names, max_size=2, unique_by=str.lower))
        ]
        for feature in features:
            for since in draw(st.lists(days, max_size=2, unique=True)):
                FeatureState.objects.create(
                    flock=flock, feature=feature, since=since, **_described(draw)
                )
        for on in draw(st.lists(days, max_size=2, unique=True)):
            told = {"flock": flock, "house": house, "on": on, "note": draw(notes)}
            HousingChange.objects.create(kind=draw(maybe(ChangeKind)), **told)
            Walk.objects.create(**told)
            Wetness.objects.create(flock=flock, house=house, on=on, level=draw(one_of(Dampness)))
            EggCount.objects.create(flock=flock, house=house, on=on, eggs=on.day % 9)
            whole, kind = draw(st.booleans()), draw(one_of(EventKind))
            told |= {"house": None if whole else house, "kind": kind}
            if kind == EventKind.OTHER:
                told["what"] = draw(names)
            Event.objects.get_or_create(
                **{name: told[name] for name in ("flock", "house", "on", "kind")}, defaults=told
            )
            WindowChoice.objects.create(
                flock=flock, house=house, on=on, window_days=90, chosen_at=draw(exact_moments)
            )
        for _ in _some(draw, 2):
            plan = HousingChange.objects.create(
                flock=flock, house=house, planned=True, on=draw(maybe_days), note=draw(notes)
            )
            for feature in features[: draw(st.integers(0, 2))]:
                PlannedState.objects.create(
                    flock=flock, change=plan, feature=feature, **_described(draw)
                )
            if draw(st.booleans()):
                PlannedState.objects.create(
                    flock=flock, change=plan, name=draw(names), kind="step", **_described(draw)
                )
    return kept


def _described(draw) -> dict:
    return {
        "height_cm": draw(measures),
        "wall_cm": draw(measures),
        "edge": draw(words),
        "surface": draw(words),
        "damp": draw(maybe(Dampness)),
        "note": draw(notes),
        "gone": draw(st.booleans()),
    }


def _birds(draw, flock, houses):
    breeds = [
        Breed.objects.create(flock=flock, name=name, adult_grams=draw(st.none() | st.just(2500)))
        for name in draw(st.lists(names, max_size=2, unique_by=str.lower))
    ]
    present, kept = set(), []
    for _ in _some(draw, 4):
        # A name may be given again once its bird has left.
        name = draw(st.sampled_from(["Dill", "dill", "=Dill"]) | names)
        left = draw(partial) or ("2024" if name.lower() in present else "")
        if not left:
            present.add(name.lower())
        bird = Bird.objects.create(
            flock=flock,
            name=name,
            band_colour=draw(maybe(BandColour)),
            breed=draw(st.sampled_from([None, *breeds])),
            sex=draw(one_of(Sex)),
            own_weight_class=draw(maybe(WeightClass)),
            traits=draw(notes),
            left=left,
            left_reason=draw(one_of(LeftReason)) if left else "",
            left_note=draw(notes),
        )
        kept.append(bird)
        for on in draw(st.lists(days, max_size=2, unique=True)):
            grams = draw(st.integers(20, 9000))
            Weighing.objects.create(flock=flock, bird=bird, on=on, grams=grams)
        if houses and draw(st.booleans()):
            house, until = draw(st.sampled_from(houses)), draw(maybe_days)
            Stay.objects.create(flock=flock, bird=bird, house=house, until=until)
    # A breed without a bird belongs to no row.
    Breed.objects.filter(flock=flock, bird=None).delete()
    return kept


def _looks(draw, flock, birds):
    looks = []
    for _ in _some(draw, 5):
        look = Check.objects.create(
            flock=flock,
            bird=draw(st.sampled_from(birds)),
            at=draw(moments),
            time_known=True,
            keeper_name=draw(words),
            gait=draw(st.none() | st.integers(0, 5)),
            manner=draw(st.sampled_from(["", "bright", "dull"])),
            comb=draw(maybe(Comb)),
            note=draw(notes),
            received_at=draw(exact_moments),
        )
        looks.append(look)
        for foot in Foot.values[: draw(st.integers(0, 2))]:
            scab = draw(maybe(Scab))
            wide = Decimal("3.5") if scab not in ("", Scab.NONE) else None
            finding = FootFinding(
                check_record=look,
                foot=foot,
                score=draw(st.integers(0, 2)),
                sites=draw(st.lists(one_of(Site), max_size=2, unique=True)),
                scab=scab,
                scab_mm=wide,
                **{sign: draw(st.none() | st.booleans()) for sign in FOOT_SIGNS},
            )
            finding.clean()  # As whoever saves one does.
            finding.save()
    for number in _some(draw, 2):
        began = draw(exact_moments)
        ended = None if number == 0 and draw(st.booleans()) else began + dt.timedelta(1)
        each = Round.objects.create(flock=flock, started_at=began, ended_at=ended)
        for place, bird in enumerate(birds[: draw(st.integers(0, 3))]):
            hers = [None, *(look for look in looks if look.bird_id == bird.pk)]
            RoundBird.objects.create(
                round=each,
                bird=bird,
                place=place,
                check_record=draw(st.sampled_from(hers)),
                passed_over=draw(st.booleans()),
            )


def _care(draw, flock, birds):
    items = [
        KitItem.objects.create(
            flock=flock,
            name=name,
            kind=draw(one_of(ItemKind)),
            stock=draw(st.none() | st.just(Decimal("2.5"))),
            pain_reliever=draw(st.sampled_from([None, True, False])),
            no_medicine=draw(st.booleans()),
            batch=draw(words),
            note=draw(notes),
        )
        for name in draw(st.lists(names, max_size=2, unique_by=str.lower))
    ]
    vets = [
        VetContact.objects.create(
            flock=flock, name=name, telephone="01632 960001", note=draw(notes), is_usual=not number
        )
        for number, name in enumerate(draw(st.lists(names, max_size=2, unique_by=str.lower)))
    ]
    for _ in _some(draw, 4):
        kind, at = draw(one_of(StepKind)), draw(moments)
        # What a record may not say is not in any flock; see CareStep.clean.
        plain = kind == StepKind.OINTMENT and draw(st.booleans())
        days_from = draw(maybe(DaysFrom)) if kind in WITHHOLDING and not plain else ""
        later = st.dates(at.astimezone(flock.zone).date(), dt.date(2026, 1, 1))
        CareStep.objects.create(
            flock=flock,
            bird=draw(st.sampled_from(birds)),
            foot=draw(maybe(Foot)),
            kind=kind,
            at=at,
            product=draw(words),
            item=draw(st.sampled_from([None, *items])),
            keeper_name=draw(words),
            outcome=draw(maybe(Outcome)),
            bleeding=draw(maybe(Bleeding)),
            egg_days=draw(small) if days_from else None,
            days_from=days_from,
            next_due=draw(st.none() | later),
            given_until=draw(st.none() | later),
            claimed_at=draw(st.none() | exact_moments),
            dropped_because=draw(words),
            note=draw(notes),
            no_medicine=plain,
            batch=draw(words),
            quantity=draw(words),
            given_to=draw(words),
            decided_by=draw(maybe(DecidedBy)),
            past=draw(st.booleans()),
            **(_visit(draw, vets, later) if kind == StepKind.VET else {}),
            **(_supply(draw, at.astimezone(flock.zone).date()) if kind in WITHHOLDING else {}),
            logged_at=draw(exact_moments),
        )


def _supply(draw, given_on) -> dict:
    return {
        "supplied_on": draw(st.none() | st.dates(dt.date(2010, 1, 1), given_on)),
        **{name: draw(words) for name in ("supplier", "supplied_amount", "prescribed_by")},
    }


def _visit(draw, vets, later) -> dict:
    return {
        "contact": draw(st.sampled_from([None, *vets])),
        "medicine_given": draw(maybe(MedicineGiven)),
        "plan_until": draw(st.none() | later),
        **{name: draw(notes) for name in ("question", "found", "plan", "laboratory")},
    }


def _history(draw, flock):
    models = [Bird, Check, CareStep, House, FeatureState, KitItem]
    for record in [r for model in models for r in model.objects.filter(flock=flock)]:
        for _ in _some(draw, 1):
            action = draw(one_of(Revision.Action))
            history.keep(record, action=action, by=None, before=history.values(record))
    if draw(st.booleans()):
        bird = Bird.objects.create(flock=flock, name="Never was")
        history.delete(bird, by=None)

"""Fill an installation for the browser tests; prints what the tests need as JSON.

Run with FLOCKCARE_DATA naming the installation's folder, after ``manage.py up --prepare-only``.
"""

import json
import os
import sys
import uuid
from datetime import date, timedelta
from pathlib import Path

import django

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
os.environ.setdefault("DJANGO_SETTINGS_MODULE", "flockcare.settings")
django.setup()

from django.contrib.auth import BACKEND_SESSION_KEY, HASH_SESSION_KEY, SESSION_KEY  # noqa: E402
from django.contrib.sessions.backends.db import SessionStore  # noqa: E402
from django.utils import timezone  # noqa: E402

from flockcare.birds.models import BandColour, Bird  # noqa: E402
from flockcare.feet import services  # noqa: E402
from flockcare.feet.models import FootFinding  # noqa: E402
from flockcare.housing.models import Feature, FeatureState, House, Stay  # noqa: E402
from flockcare.people.models import Keeper, Membership  # noqa: E402
from flockcare.people.services import add_keeper, start_flock  # noqa: E402

PASSWORD = "straw and oats 7"
NAMES = ["Dill", "Mace", "Sorrel", "Fennel", "Caraway", "Tansy"]
NAMES += ["Borage", "Anise", "Saffron", "Clove", "Chervil", "Lovage"]


def keeper_named(name: str) -> Keeper:
    """A keeper of no flock: new, or one of an earlier file of tests, who leaves that flock."""
    known = Keeper.objects.filter(sign_in_name=name).first()
    if known:
        Membership.objects.filter(keeper=known).delete()
    return known or add_keeper(name=name.title(), sign_in_name=name, password=PASSWORD)


def session_of(keeper) -> str:
    session = SessionStore()
    session[SESSION_KEY] = str(keeper.pk)
    session[BACKEND_SESSION_KEY] = "django.contrib.auth.backends.ModelBackend"
    session[HASH_SESSION_KEY] = keeper.get_session_auth_hash()
    session.save()
    return session.session_key


def check(flock, bird, keeper, *, days_ago, left=0):
    services.save_check(
        flock=flock,
        bird=bird,
        keeper=keeper,
        check_id=uuid.uuid4(),
        at=timezone.now() - timedelta(days=days_ago, hours=1),
        seen=services.Seen(
            [
                FootFinding(foot="left", score=left, sites=["main"] if left else []),
                FootFinding(foot="right", score=0),
            ]
        ),
    )


def main():
    owner, keeper = keeper_named("ada"), keeper_named("ben")
    flock = start_flock(owner=owner, name="Brook Flock", time_zone="Europe/London", units="metric")
    Membership.objects.create(flock=flock, keeper=keeper, role="keeper")
    birds = {}
    for number, (name, colour) in enumerate(zip(NAMES, [*BandColour, ""], strict=True), start=1):
        bird = Bird.objects.create(
            flock=flock, name=name, band_colour=colour, band_number=str(number) if colour else ""
        )
        birds[name] = str(bird.pk)
        for days_ago in range(90, 15, -14):
            check(flock, bird, owner, days_ago=days_ago, left=int(name == "Mace" and days_ago < 40))
    house = House.objects.create(flock=flock, name="Barn")
    for name, kind, height in (("Top bar", "roost", 120), ("Yard", "landing", 0)):
        feature = Feature.objects.create(flock=flock, house=house, name=name, kind=kind)
        FeatureState.objects.create(
            flock=flock, feature=feature, since=date(2024, 1, 1), height_cm=height, run_cm=60
        )
    Stay.objects.bulk_create(
        Stay(flock=flock, house=house, bird=bird) for bird in flock.bird_set.all()
    )
    json.dump(
        {
            "flock": str(flock.pk),
            "birds": birds,
            "house": str(house.pk),
            "sessions": {"ada": session_of(owner), "ben": session_of(keeper)},
            "password": PASSWORD,
        },
        sys.stdout,
    )


if __name__ == "__main__":
    main()

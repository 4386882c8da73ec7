"""Add a flock of twelve with keepers of its own to the installation of the browser tests.

Run like prepare.py; prints what the tests need as JSON.
"""

import json
import os
import sys
from pathlib import Path

import django

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
os.environ.setdefault("DJANGO_SETTINGS_MODULE", "flockcare.settings")
django.setup()

from flockcare.birds.models import BandColour, Bird  # noqa: E402
from flockcare.people.models import Membership  # noqa: E402
from flockcare.people.services import start_flock  # noqa: E402
from tests.browser.prepare import NAMES, PASSWORD, keeper_named, session_of  # noqa: E402

una, vic = keeper_named("una"), keeper_named("vic")
flock = start_flock(owner=una, name="Far Flock", time_zone="Europe/London", units="metric")
Membership.objects.create(flock=flock, keeper=vic, role="keeper")
birds = {
    name: str(Bird.objects.create(flock=flock, name=name, band_colour=colour).pk)
    for name, colour in zip(NAMES, [*BandColour, ""], strict=True)
}
sessions = {"una": session_of(una), "vic": session_of(vic)}
json.dump(
    {"flock": str(flock.pk), "birds": birds, "sessions": sessions, "password": PASSWORD}, sys.stdout
)

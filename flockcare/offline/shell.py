"""The pages that a phone keeps for the coop, and the worker that hands them out.

They are the same forms as the pages', without a bird: rendered for a flock and a bird that nobody
has, whose keys the worker puts right on the phone, and without a request, so that nothing of
whoever asks can get into them.
"""

import datetime as dt
import hashlib
import json
import re
import uuid
from functools import cache
from pathlib import Path

from django.conf import settings
from django.contrib.staticfiles.storage import staticfiles_storage
from django.template.loader import render_to_string
from django.urls import reverse

from flockcare.birds.forms import WeighingForm
from flockcare.birds.models import Bird, Weighing
from flockcare.care.forms import BY_THE_VET, THE_VET, StepForm
from flockcare.feet.forms import CheckForm
from flockcare.feet.scales import SCALES
from flockcare.people.models import Flock, Keeper, Units

FLOCK = uuid.UUID("f10c0000-0000-4000-8000-000000000001")
BIRD = uuid.UUID("f10c0000-0000-4000-8000-000000000002")
ME = "me"  # whoever is signed in on the phone
WORKER = Path(__file__).with_name("worker.js")


def _flock(**more) -> Flock:
    return Flock(pk=FLOCK, name="Flockcare", **more)


def _bird(flock: Flock) -> Bird:
    return Bird(pk=BIRD, flock=flock, name="…")


def _form_page(template: str, **context) -> str:
    flock = _flock()
    known = {"flock": flock, "bird": _bird(flock), "shell": "form", "may_write": True}
    return render_to_string(template, {**known, **context})


def check_page() -> str:
    flock = _flock()
    form = CheckForm(flock=flock, bird=_bird(flock))
    form.initial["check_id"] = ""
    return _form_page("feet/check_form.html", form=form, scales=SCALES, here="today")


def step_page() -> str:
    flock = _flock()
    form = StepForm(flock=flock, bird=_bird(flock), keeper=Keeper())
    form.fields["who"].choices = [(ME, "me"), (BY_THE_VET, THE_VET)]
    form.initial |= {"step_id": "", "who": ME}
    return _form_page("care/step_form.html", form=form, here="today")


def weighing_page() -> str:
    """The form in both units; the phone knows which the flock has."""
    forms = {}
    for units in Units.values:
        flock = _flock(units=units)
        blank = Weighing(flock=flock, bird=_bird(flock))
        forms[units] = WeighingForm(
            instance=blank, today=dt.date.max, initial={"weighing_id": ""}, auto_id=f"id_{units}_%s"
        )
    return _form_page("offline/weighing.html", forms=forms, here="birds")


def no_signal_page() -> str:
    return render_to_string("offline/no_signal.html", {"flock": _flock(), "shell": "birds"})


def _reading_page(kind: str, here: str) -> str:
    context = {"flock": _flock(), "bird": _bird(_flock()), "shell": "read", "kept": kind}
    return render_to_string("offline/reading.html", {**context, "here": here})


def today_page() -> str:
    return _reading_page("today", "today")


def bird_page() -> str:
    return _reading_page("bird", "birds")


def list_page() -> str:
    return _reading_page("list", "birds")


def outbox_page() -> str:
    return render_to_string("offline/outbox.html", {"shell": "outbox"})


# By the name in its own address: how it is made, and of which page it takes the place.
PAGES = {
    "check": (check_page, "check_bird", [FLOCK, BIRD]),
    "step": (step_page, "care:step_new", [FLOCK, BIRD]),
    "weighing": (weighing_page, "birds:weighings", [FLOCK, BIRD]),
    "outbox": (outbox_page, "offline:outbox", []),
    "birds": (no_signal_page, "pick", [FLOCK]),
    "home": (today_page, "people:home", []),
    "today": (today_page, "today", [FLOCK]),
    "bird": (bird_page, "bird", [FLOCK, BIRD]),
    "list": (list_page, "birds", [FLOCK]),
}
OTHERWISE = "birds"  # in place of every other page


@cache
def page(name: str) -> str:
    return PAGES[name][0]()


def files() -> list[str]:
    """Addresses of all styles, scripts and drawings that the kept pages use."""
    found = {staticfiles_storage.url(f"js/outbox/{path.name}") for path in _modules()}
    for name in PAGES:
        found |= set(re.findall(rf'"({settings.STATIC_URL}[^"]+\.(?:css|js|svg))"', page(name)))
    return sorted(found)


def _modules():
    return (settings.BASE_DIR / "static/js/outbox").glob("*.js")


@cache
def worker() -> str:
    """The worker's code, headed by what it keeps; any change of that makes it a new version."""
    kept = {
        "pages": [
            {
                "page": reverse("offline:kept", args=[name]),
                "address": reverse(view, args=keys),
            }
            for name, (_, view, keys) in PAGES.items()
        ],
        "otherwise": reverse("offline:kept", args=[OTHERWISE]),
        "files": files(),
        "icon": staticfiles_storage.url("img/icon-192.png"),
        "flock": str(FLOCK),
        "bird": str(BIRD),
    }
    code = WORKER.read_text()
    text = json.dumps(kept, sort_keys=True) + code + "".join(page(name) for name in PAGES)
    kept["version"] = hashlib.sha256(text.encode()).hexdigest()[:16]
    return f"const KEPT = {json.dumps(kept, indent=1)};\n{code}"


@cache
def version() -> str:
    """Other with every change of the kept pages or of what they use."""
    return hashlib.sha256(worker().encode()).hexdigest()[:16]

"""Puts a dressing on a bird's left foot two days ago: FLOCK BIRD. Run like prepare.py."""

import os
import sys
from datetime import timedelta
from pathlib import Path

import django

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
os.environ.setdefault("DJANGO_SETTINGS_MODULE", "flockcare.settings")
django.setup()

from django.utils import timezone  # noqa: E402

from flockcare.birds.models import Bird  # noqa: E402
from flockcare.care.models import CareStep  # noqa: E402
from flockcare.care.services import log_step  # noqa: E402

flock, bird = sys.argv[1:]
bird = Bird.objects.select_related("flock").get(flock=flock, pk=bird)
at = timezone.now() - timedelta(days=2)
on = {"kind": "dressing on", "foot": "left", "at": at, "product": "Gauze"}
log_step(step=CareStep(flock=bird.flock, bird=bird, **on))

"""Makes the demo flock where it is not there yet; its history ends today."""

from django.core.management.base import BaseCommand
from django.utils import timezone

from flockcare.demo.load import load_demo


class Command(BaseCommand):
    help = __doc__

    def handle(self, **options):
        load_demo(timezone.localdate())

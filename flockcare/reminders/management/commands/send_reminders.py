"""Remind every keeper whose hour it is; for a timer that runs once an hour."""

from django.core.management.base import BaseCommand

from flockcare.reminders.sending import send_reminders


class Command(BaseCommand):
    help = __doc__

    def handle(self, **options):
        self.stdout.write(f"{send_reminders()} sent")

"""Send the reminders that are due this hour; run it every hour by a timer."""

from django.core.management.base import BaseCommand

from flockcare.reminders.sending import send_reminders


class Command(BaseCommand):
    help = __doc__

    def handle(self, **options):
        self.stdout.write(f"{send_reminders()} sent.")

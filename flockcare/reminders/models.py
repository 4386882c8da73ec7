"""What each keeper wants to be reminded of, the phones that take it, and what was sent."""

from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models

from flockcare.care.wanted import Wanted
from flockcare.people.models import Flock

EARLIEST, LATEST = 4, 22


class Reminders(models.Model):
    """Of one keeper in one flock. Without a row nobody is reminded of anything.

    ``site``: the address by which this keeper came, for links in e-mails.
    """

    flock = models.ForeignKey(Flock, on_delete=models.CASCADE)
    keeper = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE)
    care = models.BooleanField("care that is due", default=True)
    mine_only = models.BooleanField("only what is my turn or what I took on", default=False)
    checks = models.BooleanField("checks that are due", default=True)
    withdrawal = models.BooleanField("the last day of an egg or meat withdrawal", default=True)
    hour = models.PositiveSmallIntegerField(
        "at",
        default=18,
        choices=[(hour, f"{hour}:00") for hour in range(EARLIEST, LATEST + 1)],
        validators=[MinValueValidator(EARLIEST), MaxValueValidator(LATEST)],
    )
    by_calendar = models.BooleanField("alarms in my calendar", default=False)
    by_push = models.BooleanField("a notification on my phone", default=False)
    by_mail = models.BooleanField("an e-mail", default=False)
    address = models.EmailField("e-mail address", blank=True)
    site = models.CharField(max_length=300, blank=True, editable=False)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["flock", "keeper"], name="one_reminders_per_keeper_and_flock"
            )
        ]

    def __str__(self):
        return f"reminders of {self.keeper} for {self.flock}"

    @property
    def wanted(self) -> Wanted:
        return Wanted(self.hour, self.care, self.mine_only, self.checks, self.withdrawal)


class Phone(models.Model):
    """A browser that takes notices of a keeper: a push subscription (W3C Push API, RFC 8030).

    ``p256dh`` and ``auth``: its public key and secret (RFC 8291), base64url without padding.
    """

    keeper = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE)
    endpoint = models.CharField(max_length=1000, unique=True)
    p256dh = models.CharField(max_length=100)
    auth = models.CharField(max_length=40)
    made_at = models.DateTimeField(auto_now_add=True)

    def __str__(self):
        return f"a phone of {self.keeper}"


class Sent(models.Model):
    """A reminder of one day to one address: taken up before it is sent, so that of several
    processes one sends it, and marked once it has gone, so that a restart sends nothing again.

    ``to``: ``mail``, or ``phone`` and the key of a ``Phone``.
    """

    flock = models.ForeignKey(Flock, on_delete=models.CASCADE)
    keeper = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE)
    on = models.DateField()
    to = models.CharField(max_length=40)
    tries = models.PositiveSmallIntegerField(default=0)
    tried_at = models.DateTimeField(null=True)
    sent_at = models.DateTimeField(null=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["flock", "keeper", "on", "to"], name="one_reminder_a_day_and_address"
            )
        ]

    def __str__(self):
        return f"reminder of {self.on} to {self.to}"

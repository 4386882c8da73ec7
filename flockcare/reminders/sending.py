"""Telling keepers at their hour that something is due, once a day.

What it says may lie open on a locked phone: how much is due, no bird and no medicine.
"""

from __future__ import annotations

import logging
from collections.abc import Iterable
from datetime import date, datetime, timedelta
from smtplib import SMTPException

from django.conf import settings
from django.core.mail import EmailMessage
from django.db.models import Exists, F, OuterRef, Q
from django.urls import reverse
from django.utils import timezone

from flockcare.care.reminded import count_due
from flockcare.people.models import Membership, Role
from flockcare.reminders import push
from flockcare.reminders.models import Phone, Reminders, Sent

logger = logging.getLogger(__name__)

# So often, an hour apart; after that the evening is over.
TRIES = 3
# Another process, or the one before a restart, may be at it for as long.
IN_HAND = timedelta(minutes=30)
KEPT = timedelta(days=30)


def send_reminders(*, now: datetime | None = None) -> int:
    """To everyone whose hour it is, what has not been sent today; how many were sent."""
    now = now or timezone.now()
    member = Membership.objects.able(Role.VIEWER)
    member = member.filter(flock=OuterRef("flock"), keeper=OuterRef("keeper"))
    chosen = Reminders.objects.filter(Q(by_push=True) | Q(by_mail=True), Exists(member))
    count = 0
    for one in chosen.select_related("flock", "keeper").order_by("pk"):
        local = timezone.localtime(now, one.flock.zone)
        if one.hour <= local.hour < one.hour + TRIES:
            try:
                count += _remind(one, local.date(), now)
            except Exception:  # The others are to be told all the same.
                logger.exception("%s failed", one)
    Sent.objects.filter(on__lt=now.date() - KEPT).delete()
    return count


def words_of(count: int) -> str:
    return f"{count} thing{' is' if count == 1 else 's are'} due today in the coop."


def _remind(chosen: Reminders, on: date, now: datetime) -> int:
    ways = list(_ways(chosen))
    done = Sent.objects.filter(flock=chosen.flock, keeper=chosen.keeper, on=on)
    done = set(done.exclude(sent_at=None).values_list("to", flat=True))
    left = [(to, phone) for to, phone in ways if to not in done]
    due = count_due(chosen.flock, chosen.keeper, chosen.wanted, now=now) if left else 0
    if not due:
        return 0
    return sum(_send_once(chosen, to, phone, words_of(due), on, now) for to, phone in left)


def _ways(chosen: Reminders) -> Iterable[tuple[str, Phone | None]]:
    if chosen.by_mail and chosen.address and settings.MAIL:
        yield "mail", None
    if chosen.by_push:
        for phone in Phone.objects.filter(keeper=chosen.keeper).order_by("pk"):
            yield f"phone {phone.pk}", phone


def _send_once(
    chosen: Reminders, to: str, phone: Phone | None, words: str, on: date, now: datetime
) -> bool:
    row, _ = Sent.objects.get_or_create(flock=chosen.flock, keeper=chosen.keeper, on=on, to=to)
    free = Q(tried_at=None) | Q(tried_at__lte=now - IN_HAND)
    mine = Sent.objects.filter(free, pk=row.pk, sent_at=None, tries__lt=TRIES)
    if not mine.update(tries=F("tries") + 1, tried_at=now):
        return False
    sent = _push(chosen, phone, words) if phone else _mail(chosen, words)
    if sent:
        Sent.objects.filter(pk=row.pk).update(sent_at=now)
    return sent


def _push(chosen: Reminders, phone: Phone, words: str) -> bool:
    outcome = push.send(
        phone,
        words=words,
        url=chosen.flock.get_absolute_url(),
        topic=chosen.flock.pk.hex,
        site=chosen.site,
    )
    if outcome == push.Outcome.GONE:
        phone.delete()
    return outcome == push.Outcome.SENT


def _mail(chosen: Reminders, words: str) -> bool:
    today = chosen.site + chosen.flock.get_absolute_url()
    page = chosen.site + reverse("reminders:page", args=[chosen.flock.pk])
    message = EmailMessage(
        subject=f"Flockcare: {words.rstrip('.')}",
        body=f"{words}\n\nSee Today: {today}\n\nChange or stop reminders: {page}\n",
        to=[chosen.address],
    )
    try:
        message.send()
    except (OSError, SMTPException) as problem:
        logger.warning("No e-mail to %s: %s", chosen.keeper, type(problem).__name__)
        return False
    return True

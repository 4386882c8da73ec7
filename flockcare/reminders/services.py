"""Every write about reminders, but for those of sending them."""

from django.core.exceptions import ValidationError
from django.db import transaction

from flockcare.people.models import Flock
from flockcare.reminders import push
from flockcare.reminders.models import Phone, Reminders

MOST_PHONES = 8
WELCOME = "Reminders come to this phone."
NO_INTERNET = (
    "The computer that runs Flockcare could not reach the phone’s push service. It needs the "
    "internet for that. Nothing was turned on."
)


@transaction.atomic
def save_reminders(*, reminders: Reminders) -> None:
    """What somebody saved on another phone meanwhile is their own: the last one counts."""
    held = Reminders.objects.select_for_update().filter(
        flock=reminders.flock, keeper=reminders.keeper
    )
    reminders.pk = held.values_list("pk", flat=True).first()
    reminders._state.adding = reminders.pk is None
    reminders.full_clean()
    reminders.save()


def add_phone(*, phone: Phone, flock: Flock, site: str) -> None:
    """Send it a first notice, and keep it if that went out; then push is on in this flock."""
    try:
        if not push.is_public(phone.endpoint):
            raise ValidationError("Flockcare may not send to this push service.")
    except OSError:
        raise ValidationError(NO_INTERNET) from None
    welcome = {"words": WELCOME, "url": flock.get_absolute_url(), "topic": flock.pk.hex}
    if push.send(phone, **welcome, site=site) != push.Outcome.SENT:
        raise ValidationError(NO_INTERNET)
    with transaction.atomic():
        Phone.objects.update_or_create(
            endpoint=phone.endpoint,
            defaults={"keeper": phone.keeper, "p256dh": phone.p256dh, "auth": phone.auth},
        )
        old = Phone.objects.filter(keeper=phone.keeper).order_by("-made_at", "-pk")[MOST_PHONES:]
        Phone.objects.filter(pk__in=[one.pk for one in old]).delete()
        Reminders.objects.update_or_create(
            flock=flock, keeper=phone.keeper, defaults={"by_push": True, "site": site}
        )


def end_phone(*, keeper, endpoint: str) -> None:
    Phone.objects.filter(keeper=keeper, endpoint=endpoint).delete()

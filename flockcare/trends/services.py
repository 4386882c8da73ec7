"""The one thing that is written here."""

from django.db import transaction

from flockcare.trends.models import WindowChoice


@transaction.atomic
def choose_window(*, choice: WindowChoice, by) -> None:
    """Keep which stretch is compared for a change; earlier choices stay, and count as tries.

    The stretch that holds already is not kept once more.
    """
    choice.keeper = by
    choice.full_clean()
    held = (
        WindowChoice.objects.filter(flock=choice.flock, house=choice.house, on=choice.on)
        .order_by("-chosen_at")
        .first()
    )
    if held and (held.window_days, held.lag_days) == (choice.window_days, choice.lag_days):
        return
    choice.save()

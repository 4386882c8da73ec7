from django.conf import settings

from flockcare.core import clock, room


def installation(request):
    return {
        "demo": settings.DEMO,
        "clock_problem": clock.noticed(),
        "room_is_low": room.is_low,
    }

from django.conf import settings

from flockcare.core import room


def installation(request):
    return {"demo": settings.DEMO, "room_is_low": room.is_low}

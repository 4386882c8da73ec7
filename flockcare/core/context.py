from django.conf import settings

from flockcare.core import clock


def installation(request):
    return {"demo": settings.DEMO, "clock_problem": clock.noticed()}

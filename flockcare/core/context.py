from django.conf import settings


def installation(request):
    return {"demo": settings.DEMO}

"""Which draft a phone may forget: that of the form that was saved just now."""

from urllib.parse import quote

from django.conf import settings

SAVED = "flockcare_saved"


def name_what_was_saved(get_response):
    """Middleware: a form names its draft (``static/js/draft.js``), and whoever saved it leads on.

    The name goes along in a cookie of the answer, which ``static/js/flockcare.js`` takes up on the
    next page, whichever that is. A refused form is shown again, and who is signed out is led to
    sign in: both keep their draft.
    """

    def middleware(request):
        response = get_response(request)
        saved = request.method == "POST" and response.status_code == 302
        if saved and request.user.is_authenticated and (name := request.POST.get("draft")):
            secure = settings.SESSION_COOKIE_SECURE
            response.set_cookie(SAVED, quote(name, safe=""), secure=secure, samesite="Lax")
        return response

    return middleware

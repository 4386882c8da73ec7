"""How a phone comes to trust this computer, so that the app works on it without signal."""

from django.conf import settings
from django.contrib.auth.decorators import login_not_required
from django.http import Http404, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from flockcare.core.headers import CONTENT_POLICY
from flockcare.running.authority import Authority


def _authority() -> Authority:
    """404 where this program does not serve HTTPS by itself."""
    if not settings.LAN_HTTPS:
        raise Http404
    return Authority(settings.DATA_DIR / "https")


@require_safe
@login_not_required
def phone(request):
    fingerprint = _authority().fingerprint
    response = render(
        request,
        "running/phone.html",
        {"secure": request.is_secure(), "https": settings.LAN_HTTPS, "fingerprint": fingerprint},
    )
    # Whether the phone trusts the certificate shows in whether a picture comes over HTTPS.
    response["Content-Security-Policy"] = CONTENT_POLICY.replace(
        "img-src 'self'", f"img-src 'self' {settings.LAN_HTTPS}"
    )
    return response


@require_safe
@login_not_required
def certificate(request):
    return HttpResponse(
        _authority().certificate_file.read_bytes(), content_type="application/x-x509-ca-cert"
    )

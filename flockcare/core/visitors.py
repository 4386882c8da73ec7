"""Where a request comes from."""

from django.conf import settings


def address_of(request) -> str:
    """The visitor's address.

    Behind a proxy it is the one that the proxy added last to ``X-Forwarded-For``; what stands
    before it the visitor may have made up. Without a proxy nothing that was sent is believed.
    """
    said = request.headers.get("X-Forwarded-For", "") if settings.BEHIND_PROXY else ""
    return said.rsplit(",", 1)[-1].strip() or request.META["REMOTE_ADDR"]

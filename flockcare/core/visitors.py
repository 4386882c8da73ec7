"""Where a request comes from."""

from ipaddress import ip_address, ip_network

from django.conf import settings


def address_of(request) -> str:
    """The visitor's address.

    Behind a proxy it is the one that the proxy added last to ``X-Forwarded-For``; what stands
    before it the visitor may have made up. Without a proxy nothing that was sent is believed.
    """
    said = request.headers.get("X-Forwarded-For", "") if settings.BEHIND_PROXY else ""
    return said.rsplit(",", 1)[-1].strip() or request.META["REMOTE_ADDR"]


def plain_http(request) -> bool:
    """Whether the browser takes this for no secure place (W3C, *Secure Contexts*, 3.1)."""
    name = request.get_host().rsplit(":", 1)[0]
    return not request.is_secure() and name not in {"localhost", "127.0.0.1", "[::1]"}


def network_of(address: str) -> str:
    """What one household or machine has at least to itself: an IPv4 address, or an IPv6 /64.

    A /64 is the smallest network that hosts choose their own addresses in (RFC 4291, 2.5.1 and
    2.5.4, from memory). What is no address stays as it is.
    """
    try:
        found = ip_address(address)
    except ValueError:
        return address
    if found.version == 4:
        return str(found)
    if found.ipv4_mapped:
        return str(found.ipv4_mapped)
    return str(ip_network((int(found), 64), strict=False))

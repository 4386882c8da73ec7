"""Handing out stored files that only some people may see."""

from django.core.files.storage import default_storage
from django.http import FileResponse, Http404, HttpResponseNotModified
from django.utils.http import parse_etags, quote_etag

HEADERS = {
    "X-Content-Type-Options": "nosniff",
    "Content-Security-Policy": "default-src 'none'",
    # A stored file never changes under its name; only this keeper's browser may keep it.
    "Cache-Control": "private, max-age=31536000, immutable",
}


def private_file(request, path: str, *, content_type: str, tag: str):
    """The stored file, after the caller has made sure that this keeper may see it.

    ``tag`` names the content (a hash); 404 when the file is not there.
    """
    etag = quote_etag(tag)
    if etag in parse_etags(request.headers.get("If-None-Match", "")):
        return HttpResponseNotModified(headers={"ETag": etag, **HEADERS})
    try:
        file = default_storage.open(path)
    except FileNotFoundError:
        raise Http404("This file is no longer there.") from None
    return FileResponse(file, content_type=content_type, headers={"ETag": etag, **HEADERS})

"""Handing out stored files that only some people may see, and whether new ones can be kept."""

import tempfile
from pathlib import Path

from django.core.files.base import ContentFile
from django.core.files.storage import FileSystemStorage, Storage, default_storage
from django.http import FileResponse, Http404, HttpResponseNotModified
from django.utils.http import parse_etags, quote_etag

HEADERS = {
    "X-Content-Type-Options": "nosniff",
    "Content-Security-Policy": "default-src 'none'",
    # A stored file never changes under its name; only this keeper's browser may keep it.
    "Cache-Control": "private, max-age=31536000, immutable",
}


class FileLost(FileNotFoundError, Http404):
    """The file of a record is gone from the store: a page that needs it answers 404."""


def opened(path: str):
    """The stored file; FileLost where it is no longer there."""
    try:
        return default_storage.open(path)
    except FileNotFoundError:
        raise FileLost("This file is no longer there.") from None


def private_file(request, path: str, *, content_type: str, tag: str):
    """The stored file, after the caller has made sure that this keeper may see it.

    ``tag`` names the content (a hash); 404 when the file is not there. Also from object storage it
    comes through here and not by a signed address there: the page's content policy, the browser's
    cache and the membership hold alike, and no address opens a photo for whoever has it.
    """
    etag = quote_etag(tag)
    if etag in parse_etags(request.headers.get("If-None-Match", "")):
        return HttpResponseNotModified(headers={"ETag": etag, **HEADERS})
    return FileResponse(opened(path), content_type=content_type, headers={"ETag": etag, **HEADERS})


def check_writable(storage: Storage) -> None:
    """Keep a small file for a moment; raises what the storage raises when it cannot."""
    if isinstance(storage, FileSystemStorage):
        Path(storage.location).mkdir(parents=True, exist_ok=True)
        # Never has a name, so that a backup made at this moment does not meet it.
        with tempfile.TemporaryFile(dir=storage.location) as file:
            file.write(b"?")
    else:
        storage.delete(storage.save("health", ContentFile(b"?")))

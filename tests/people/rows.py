"""The same rows for every page: what each of the cast gets."""

from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

FORM_PAGE = {"owner": 200, "keeper": 200, "viewer": 403, "stranger": 404, "anonymous": 302}
READ_PAGE = {**FORM_PAGE, "viewer": 200}
OWNER_PAGE = {**FORM_PAGE, "keeper": 403}


def _everyone(cast):
    return {**vars(cast.clients), "anonymous": Client()}


def seen(cast, url) -> dict[str, int]:
    """Status of a look at the page, by who looks."""
    return {name: client.get(url).status_code for name, client in _everyone(cast).items()}


def refused(cast, url, data=None) -> dict[str, int]:
    """Status of a post by those who must not, by who posts; the anonymous are sent to sign in."""
    out = {}
    for name, client in _everyone(cast).items():
        if name in ("owner", "keeper"):
            continue
        response = client.post(url, data or {})
        if name == "anonymous":
            assert response.headers["Location"].startswith("/sign-in/")
        out[name] = response.status_code
    return out


NOT_WRITERS = {"viewer": 403, "stranger": 404, "anonymous": 302}


def same_queries(client, url, *, grow) -> None:
    """The page asks the database as often for one row as for twenty, and at most 12 times.

    How the birds stand is worked out once after a change, by whoever opens a page first.
    """

    def count():
        client.get(url)
        with CaptureQueriesContext(connection) as queries:
            assert client.get(url).status_code == 200
        return len(queries)

    few = count()
    grow()
    assert count() == few <= 12

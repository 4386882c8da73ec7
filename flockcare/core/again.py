"""Two who write at the same moment: the second is answered as if it had come a moment later.

PostgreSQL lets both begin, and refuses the one that comes second to what must be unique (another
bird of that name, a round that is open already) or that stands in the way of the other. Nothing of
its transaction is kept then. Run again, the page finds what the first has saved and says so in its
own words; on SQLite, where writers queue, that is what happens anyway.
"""

from django.db import DatabaseError, IntegrityError

# SQLSTATE of "serialization failure" and "deadlock detected": PostgreSQL 15, appendix A.
IN_THE_WAY = {"40001", "40P01"}


def run_again(get_response):
    def middleware(request):
        return get_response(request)

    middleware.process_view = _first_run
    return middleware


def _first_run(request, view, arguments, named):
    """Last of the middleware's looks at a view; None lets Django run it, here the second time."""
    if request.method != "POST":
        return None
    try:
        return view(request, *arguments, **named)
    except DatabaseError as error:
        if not _second(error):
            raise
    for name in request.FILES:
        for file in request.FILES.getlist(name):
            file.seek(0)
    return None


def _second(error: DatabaseError) -> bool:
    state = getattr(error.__cause__, "sqlstate", None)
    return isinstance(error, IntegrityError) or state in IN_THE_WAY

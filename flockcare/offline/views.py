"""What outboxes talk to. Every answer is JSON and names the key that it is about.

201 stored (or was before)   409 the key is taken by something else   422 refused, with reasons
400 not what an outbox sends 401 nobody is signed in                  403, 404 no right, no flock
412 parts of a photo are missing: all of them again
503 refused while our own clock is wrong: try again later

The requests are protected like every form: a session cookie that other sites cannot use, and a
CSRF token in ``X-CSRFToken``. Outboxes keep no token; they ask ``hello`` for a fresh one.
"""

import json
import uuid

from django.contrib.auth.decorators import login_not_required
from django.http import JsonResponse, QueryDict
from django.middleware.csrf import get_token
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from flockcare.core import clock
from flockcare.offline import kept, parts, services
from flockcare.offline.kinds import KINDS, Refused, SaysOtherwise, Sent
from flockcare.people.access import flock_view
from flockcare.people.fresh import renewed
from flockcare.people.models import Role
from flockcare.photos.models import Foot
from flockcare.photos.services import digest_of_file


class NotFromAnOutbox(ValueError):
    """What came does not have the form that outboxes send."""


@require_safe
@login_not_required
@never_cache
def hello(request):
    """Who is signed in, by our clock when, and the token that a request has to bring."""
    if not request.user.is_authenticated:
        return JsonResponse({"reasons": ["Nobody is signed in."]}, status=401)
    return JsonResponse(
        {
            "keeper": str(request.user.pk),
            "name": request.user.name,
            "token": get_token(request),
            "now": timezone.now().isoformat(),
        }
    )


@require_safe
@flock_view(read=Role.KEEPER)
@never_cache
def birds(request, flock):
    """What a phone keeps of a flock without signal (``kept.to_read``); 304 where it has all of it.

    Names and bands, who is due first; how each bird stands; which of their feet are sore, so that
    the form asks before it calls them clear.
    """
    mark, round_ = kept.mark_now(flock), kept.round_now(flock)

    def told():
        return JsonResponse(
            {
                "flock": {
                    "id": str(flock.pk),
                    "name": flock.name,
                    "zone": flock.time_zone,
                    "units": flock.units,
                },
                "keeper": {"id": str(request.user.pk), "name": request.user.name},
                "round": round_,
                **kept.to_read(flock, mark),
            }
        )

    return renewed(request, kept.tag_of(request, flock, (mark, round_)), told)


@require_POST
@flock_view()
def record(request, flock, key):
    """Store a check, a step of care or a weighing under the key it was made with."""
    try:
        body = json.loads(request.body)
        kind, fields = _kind(body["kind"]), _fields(body["fields"])
        fields[KINDS[kind].key_field] = str(key)
        _refuse_other_keepers(request, body["keeper"])
        sent = Sent(
            flock=flock,
            keeper=request.user,
            bird=services.bird_of(flock, _uuid(body["bird"])),
            key=key,
            data=fields,
            now=timezone.now(),
        )
        digest = services.digest(kind, body["bird"], body["keeper"], body["fields"])
        envelope = _envelope(key, kind, digest, body)
        return JsonResponse(services.store_record(envelope=envelope, sent=sent), status=201)
    except (KeyError, TypeError, ValueError, RecursionError):
        return _refusal(key, 400, ["This is not what an outbox sends."])
    except SaysOtherwise as other:
        return _refusal(key, 409, other.reasons, url=other.url)
    except Refused as refused:
        # Nobody need mend a record because our clock is wrong: the phone tries again later.
        if ours := clock.behind_in_words():
            return _refusal(key, 503, [ours])
        return _refusal(key, 422, refused.reasons)


@require_POST
@flock_view()
def part(request, flock, key, number):
    """Keep a part of a large photo until all of them are here."""
    content = request.body if request.content_type == "application/octet-stream" else b""
    if not 0 < len(content) <= parts.MOST_BYTES or number >= parts.MOST_PARTS:
        return _refusal(key, 400, ["This is not what an outbox sends."])
    parts.keep_part(flock=flock, key=key, number=number, content=content)
    return JsonResponse({"key": str(key), "number": number}, status=201)


@require_POST
@flock_view()
def photo(request, flock, key):
    """Store a photo of a record that was stored before. It comes with this, or came in parts."""
    try:
        body, count = request.POST, _parts(request.POST.get("parts", "0"))
        upload = (
            parts.put_together(flock=flock, key=key, count=count, name=body["name"])
            if count
            else request.FILES["photo"]
        )
        kind, foot = _kind(body["kind"]), body["foot"]
        if foot not in ("", *Foot.values) or not KINDS[kind].takes_photos:
            raise NotFromAnOutbox
        _refuse_other_keepers(request, body["keeper"])
        digest = services.digest(kind, body["record"], foot, digest_of_file(upload))
        answer = services.store_photo(
            envelope=_envelope(key, kind, digest, body),
            flock=flock,
            keeper=request.user,
            record_key=_uuid(body["record"]),
            foot=foot,
            upload=upload,
            now=timezone.now(),
            take_over="take_over" in body,
        )
        parts.remove_parts(flock=flock, key=key, count=count)
        return JsonResponse(answer, status=201)
    except parts.PartsMissing:
        if answer := services.answer_given(flock=flock, key=key, kind=body.get("kind")):
            return JsonResponse(answer, status=201)
        return _refusal(key, 412, ["Part of it is missing. It is sent again."])
    except (NotFromAnOutbox, KeyError):
        return _refusal(key, 400, ["This is not what an outbox sends."])
    except SaysOtherwise as other:
        return _refusal(key, 409, other.reasons, url=other.url)
    except services.OnRecord as found:
        return _refusal(key, 422, found.reasons, elsewhere=found.photo)
    except Refused as refused:
        return _refusal(key, 422, refused.reasons)


def _parts(text: str) -> int:
    if not text.isdecimal() or len(text) > 4 or int(text) > parts.MOST_PARTS:
        raise NotFromAnOutbox
    return int(text)


def _refusal(key, status: int, reasons: list[str], **more) -> JsonResponse:
    return JsonResponse({"key": str(key), "reasons": reasons, **more}, status=status)


def _refuse_other_keepers(request, keeper: str) -> None:
    if keeper != str(request.user.pk):
        raise Refused("Another keeper made this. It is sent when they are signed in.")


def _kind(text) -> str:
    if text not in KINDS:
        raise NotFromAnOutbox
    return text


def _uuid(text) -> uuid.UUID:
    try:
        return uuid.UUID(text)
    except (AttributeError, ValueError):
        raise NotFromAnOutbox from None


def _fields(pairs) -> QueryDict:
    """The fields of a form, as a browser would have posted them."""
    fields = QueryDict(mutable=True)
    for pair in pairs:
        if len(pair) != 2 or not all(isinstance(part, str) for part in pair):
            raise NotFromAnOutbox
        fields.appendlist(*pair)
    return fields


def _envelope(key, kind: str, digest: str, body) -> services.Envelope:
    return services.Envelope(
        key=key,
        kind=kind,
        body_hash=digest,
        made=services.moment(body.get("made")),
        sent=services.moment(body.get("clock")),
    )

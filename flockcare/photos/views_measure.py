"""Measuring a sore: one form, sent whole by a browser without script, or piece by piece by ours."""

import json

import numpy as np
from django.contrib import messages
from django.http import JsonResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_POST

from flockcare.people.access import flock_view
from flockcare.people.models import Role
from flockcare.photos import measuring, words
from flockcare.photos.forms import NO_LENGTH, NO_SCALE, NO_TAP, MeasureForm
from flockcare.photos.models import CardReading, Photo
from flockcare.photos.outline import NoOutline
from flockcare.photos.pictures import Picture
from flockcare.photos.scale import UNCHECKED_PRINT, CannotMeasure, CardView
from flockcare.photos.series import to_shown, when
from flockcare.photos.views_photo import photo_or_404

# 95 % bounds of a distance: below the first it is told as one number, above the second not at all.
CLOSE, VAGUE = 0.12, 0.4


@flock_view(read=Role.KEEPER)
def measure(request, flock, photo_id):
    """``do``: read the card, suggest an outline, tell its sizes, or save it."""
    photo = photo_or_404(flock, photo_id)
    if request.method != "POST":
        return _page(request, photo, MeasureForm(initial=_newest(photo)))
    form = MeasureForm(request.POST)
    action = ACTIONS.get(request.POST.get("do"), _sizes)
    answer = {}
    try:
        if not form.is_valid():
            raise CannotMeasure(next(iter(form.errors.values()))[0])
        answer = action(photo, form, request.user)
    except (CannotMeasure, NoOutline) as refused:
        answer = {"reason": refused.reason}
    if request.accepts("text/html"):
        return _answer_without_script(request, photo, form, answer)
    return JsonResponse(answer, status=422 if "reason" in answer else 200)


def _answer_without_script(request, photo, form, answer):
    if "saved" in answer:
        return redirect(answer["saved"])
    kept = {name: form.data.get(name) for name in form.fields}
    kept["spread"] = answer.get("spread", kept["spread"])
    kept["outline"] = json.dumps(answer.get("outline") or form.cleaned_data.get("outline") or [])
    status = 422 if "reason" in answer else 200
    return _page(request, photo, MeasureForm(initial=kept), answer, status=status)


def _page(request, photo, form, answer=None, status=200):
    reading = CardReading.objects.filter(photo=photo).first()
    width, height = photo.shown
    turn = to_shown(photo)
    outline = json.loads(form["outline"].value() or "[]")
    context = {
        "photo": photo,
        "picture": Picture(photo),
        "when": when(photo),
        "width": width,
        "height": height,
        "turn": " ".join(f"{value:.2f}" for value in turn.T.ravel()),
        "form": form,
        "points": " ".join(f"{x:.1f},{y:.1f}" for x, y in outline),
        "card": reading and _card_words(photo, reading),
        "window": reading and _window(reading),
        "answer": answer or {},
        "next": measuring.next_to_measure(photo),
        "here": "birds",
    }
    return render(request, "photos/measure.html", context, status=status)


def _newest(photo) -> dict:
    """The form as the newest measurement left it; a known length has to be tapped anew."""
    last = photo.measurements.last()
    if last is None:
        return {}
    height = "" if last.height_mm is None else f"{last.height_mm:g}"
    return {
        "outline": json.dumps(last.outline_px),
        "scaled_by": last.scaled_by,
        "length_mm": last.length_mm,
        "height_mm": height,
    }


def _card_words(photo, reading) -> dict:
    if reading.view is None:
        return {"reason": reading.reason}
    view = measuring.card_scale(reading, 0).view
    said = (
        f"Card found: tilt {view.tilt_degrees:.0f}°, {_how_far(view)}"
        f"area within {100 * view.relative_area_error:.0f}% where the sore is level with the card."
    )
    if view.print_error == UNCHECKED_PRINT:
        said += " Nobody has measured how large the cards were printed: that is most of it."
    return {"words": said, "doubt": measuring.doubt(photo, reading)}


def _how_far(view) -> str:
    """How far away the camera was, as far as that is known; else nothing."""
    near, far = (view.distance_mm / 10 * np.exp(side * view.distance_error) for side in (-1, 1))
    if view.distance_error < CLOSE:
        return f"about {view.distance_mm / 10:.0f} cm away, "
    return f"{near:.0f} to {far:.0f} cm away, " if view.distance_error < VAGUE else ""


def _window(reading) -> list:
    """Corners of the card's window in pixels of the original: the sore lies in it."""
    if reading.view is None:
        return []
    return np.round(CardView.from_plain(reading.view).window_px(), 1).tolist()


# --- What can be asked for


def _read_card(photo: Photo, form, keeper) -> dict:
    reading = measuring.read_card_anew(photo)
    return {"card": _card_words(photo, reading), "window": _window(reading)}


def _suggest(photo: Photo, form, keeper) -> dict:
    tap = _tap(photo, form)
    found = measuring.suggest(photo, tap, _scale_if_any(photo, form))
    answer = {
        "outline": np.round(found.outline, 1).tolist(),
        "spread": round(found.spread, 4),
        "doubt": found.doubt,
    }
    try:
        return answer | _words(photo, form, answer["outline"], found.spread)
    except CannotMeasure as refused:
        return answer | {"missing": refused.reason}


def _sizes(photo: Photo, form, keeper) -> dict:
    return _words(photo, form, form.cleaned_data["outline"], form.cleaned_data["spread"])


def _save(photo: Photo, form, keeper) -> dict:
    measuring.measure(
        photo=photo,
        keeper=keeper,
        scale=_scale(photo, form),
        outline=form.cleaned_data["outline"],
        spread=form.cleaned_data["spread"],
    )
    if photo.bird and photo.foot:
        page = reverse("series", args=[photo.flock_id, photo.bird_id, photo.foot])
        return {"saved": f"{page}?b={photo.pk.hex[:8]}"}
    return {"saved": reverse("photos:photo", args=[photo.flock_id, photo.pk])}


def _save_and_next(photo: Photo, form, keeper) -> dict:
    saved = _save(photo, form, keeper)
    if following := measuring.next_to_measure(photo):
        return {"saved": reverse("photos:measure", args=[photo.flock_id, following.pk])}
    return saved


ACTIONS = {
    "card": _read_card,
    "suggest": _suggest,
    "sizes": _sizes,
    "save": _save,
    "save and next": _save_and_next,
}


def _words(photo, form, outline, spread) -> dict:
    found = measuring.sizes(photo, _scale(photo, form), outline, spread)
    return {"area": words.area(found), "diameter": words.diameter(found)}


def _scale(photo, form) -> measuring.Scale:
    if not form.by_length:
        return measuring.card_scale(measuring.card_reading(photo), form.cleaned_data["height_mm"])
    ends, length = form.cleaned_data["ends"], form.known_mm()
    if length is None:
        raise CannotMeasure(NO_LENGTH)
    if len(ends) != 2:
        raise CannotMeasure(NO_SCALE)
    return measuring.length_scale(photo, ends, length, form.cleaned_data["px_per_screen_px"])


def _scale_if_any(photo, form) -> measuring.Scale | None:
    try:
        return _scale(photo, form)
    except CannotMeasure:
        return None


def _tap(photo: Photo, form) -> tuple[float, float]:
    """In pixels of the original: tapped, or typed in percent of what is shown."""
    if form.cleaned_data["tap"]:
        return form.cleaned_data["tap"][0]
    shares = form.cleaned_data["tap_left"], form.cleaned_data["tap_top"]
    if None in shares:
        raise NoOutline(NO_TAP)
    turn = to_shown(photo)
    shown = np.array(shares) / 100 * photo.shown
    return tuple((turn[:, :2].T @ (shown - turn[:, 2])).tolist())


@require_POST
@flock_view()
def take_back(request, flock, photo_id):
    """Delete the newest measurement of a photo."""
    photo = photo_or_404(flock, photo_id)
    if newest := photo.measurements.last():
        measuring.delete_measurement(measurement=newest, keeper=request.user)
        messages.success(request, "The newest measurement of this photo was deleted.")
    return redirect("photos:photo", flock.pk, photo.pk)

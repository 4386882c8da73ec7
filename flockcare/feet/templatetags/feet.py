"""Pieces of the check pages that stand there dozens of times.

They are put together here and not in templates because Django renders a template for every single
radio button, which made up most of the time of the check form.
"""

from functools import cache

from django import template
from django.template.loader import render_to_string
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from flockcare.core.addresses import urls_of
from flockcare.feet.forms import FootForm
from flockcare.feet.scales import CLINICAL_GRADE
from flockcare.photos.models import Foot

register = template.Library()


@register.simple_tag
@cache
def scale_words(scale) -> str:
    """A published scale behind a fold: its steps, their definitions and where they come from."""
    return render_to_string("feet/scale_words.html", {"scale": scale})


HALF = SafeString('<path d="M10 2.5a7.5 7.5 0 0 1 0 15z"/>')


@register.simple_tag
def score_mark(score) -> str:
    """The mark of a lesion score: an open, half or full ring, so that tone alone says nothing."""
    return format_html(
        '<svg class="score score-{}" viewBox="0 0 20 20" width="20" height="20" aria-hidden="true">'
        '<circle cx="10" cy="10" r="7.5"/>{}</svg>',
        score,
        HALF if score == 1 else "",
    )


@register.simple_tag
def chips(field, marks: bool = False, numbered: bool = False) -> str:
    """A choice field as large chips over real radio buttons or checkboxes, with its errors."""
    given = field.value()
    chosen = {
        "" if value is None else str(value)
        for value in (given if isinstance(given, list) else [given])
    }
    kind, choices = field.field.widget.input_type, tuple(field.field.choices)
    options = _options(kind, field.html_name, field.auto_id, choices, marks, numbered)
    focus = " autofocus" if field.field.widget.attrs.get("autofocus") else ""
    return format_html(
        '<div class="field{}"><fieldset{}><legend>{}</legend>{}<div class="chips">{}</div>'
        "</fieldset></div>",
        " wrong" if field.errors else "",
        format_html(' aria-describedby="{}_error"', field.auto_id) if field.errors else "",
        field.label,
        field.errors or "",
        SafeString(
            "".join(
                f"{start}{' checked' if value in chosen else ''}{'' if number else focus}{end}"
                for number, (value, start, end) in enumerate(options)
            )
        ),
    )


@cache
def _options(kind, name, key, choices, marks, numbered) -> list[tuple[str, str, str]]:
    """Of each choice its value and its HTML before and after the place for ``checked``."""
    return [
        (
            str(value),
            format_html(
                '<label for="{0}_{1}"><input type="{2}" name="{3}" value="{4}" id="{0}_{1}"',
                key,
                number,
                kind,
                name,
                value,
            ),
            format_html(
                ">{}<span>{}{}</span></label>",
                score_mark(value) if marks and value != "" else "",
                format_html("<b>{}</b> ", value) if numbered else "",
                label,
            ),
        )
        for number, (value, label) in enumerate(choices)
    ]


@register.simple_tag
def tick(field) -> str:
    """A yes-or-no field as one chip."""
    return format_html(
        '<label for="{0}"><input type="checkbox" name="{1}" id="{0}"{2}><span>{3}</span></label>',
        field.auto_id,
        field.html_name,
        SafeString(" checked") if field.value() else "",
        field.label,
    )


@register.simple_tag
def feet_part(form) -> str:
    """Where both feet are marked: the same for everybody as long as nothing has been said."""
    if form.untouched:
        return _untouched_feet()
    return _feet(form.feet, kept_photos=form.kept_photos, flock=form.flock)


@cache
def _untouched_feet() -> str:
    return _feet([FootForm(foot=foot) for foot in Foot])


def _feet(feet, **more) -> str:
    return render_to_string(
        "feet/feet_part.html", {"feet": feet, "clinical_grades": CLINICAL_GRADE, **more}
    )


@register.simple_tag
def foot_drawing(form) -> str:
    """The sole of the foot of this form, with empty labels over it, one for each place."""
    places = form["sites"]
    return _foot_drawing(form.foot, places.auto_id, len(places.field.choices))


@cache
def _foot_drawing(foot, key: str, places: int) -> str:
    over = format_html_join(
        "",
        '<label class="over over-{}" for="{}_{}" aria-hidden="true"></label>',
        ((number, key, number) for number in range(places)),
    )
    return render_to_string("feet/foot_drawing.html", {"foot": foot, "places_over": over})


@register.simple_tag
def bird_rows(birds, flock, view: str) -> str:
    """Rows of ``BirdToday``, each a link to ``view`` of the bird."""
    url_of = urls_of(view, flock.pk)
    return format_html_join("", ROW, (_row(bird, url_of(bird.pk)) for bird in birds))


ROW = (
    '<li><a class="row" href="{}"><span class="band{}" aria-hidden="true"></span>'
    '<span class="grow"><strong>{}</strong><span class="quiet">{}</span></span>{}{}</a></li>'
)


def _row(bird, url: str) -> tuple:
    # Whoever was never looked at is due, and that says so.
    seen = f"seen {bird.last.day} {bird.last:%b}" if bird.last else ""
    return (
        *who(bird, url, " · ".join(filter(None, (bird.band, seen)))),
        sore_feet(bird) if bird.sore else "",
        format_html('<span class="tag due">{}</span>', bird.due_words) if bird.is_due else "",
    )


def who(bird, url: str, about: str) -> tuple[str, str, str, str]:
    """The first half of a ROW."""
    return url, f" band-{bird.band_colour}" if bird.band_colour else "", bird.name, about


def sore_feet(bird) -> str:
    feet = ((score_mark(score), foot) for foot, score in bird.feet if score)
    return format_html(
        '<span class="feet-now">{}</span>', format_html_join("", "<span>{} {}</span>", feet)
    )

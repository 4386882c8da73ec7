"""The shape of a check as it is typed: one part for the bird, one for each foot."""

import uuid
from copy import copy

from django import forms
from django.core.exceptions import ValidationError
from django.utils.functional import cached_property

from flockcare.core.forms import KeeperModelForm, record_keys
from flockcare.feet.models import Check, FootFinding, Site
from flockcare.feet.scales import AFFECTED_FROM, CLINICAL_GRADE, LESION
from flockcare.feet.services import FINDING_VALUES, SIGNS, Seen
from flockcare.photos.models import Foot, Photo
from flockcare.photos.services import is_elsewhere, sent_before

BOTH_CLEAR = "both clear"
CHOSEN_SIGNS = [name for name in SIGNS if name != "note"]
SORE_FIELDS = [name for name in FINDING_VALUES if name not in ("foot", "score")]
# Said with one tap, and each can still be said otherwise.
WELL = {"manner": "bright", "eating": "yes", "droppings": "normal", "belly": "normal"}


class FootForm(KeeperModelForm):
    """What was seen on one foot; left empty, the foot was not looked at."""

    versioned = False  # The check's form is, as a whole.
    grades = CLINICAL_GRADE

    sites = forms.MultipleChoiceField(
        label="Where",
        choices=Site.choices,
        required=False,
        widget=forms.CheckboxSelectMultiple,
    )

    class Meta:
        model = FootFinding
        fields = ["score", *SORE_FIELDS]
        widgets = {
            "score": forms.RadioSelect,
            "scab": forms.RadioSelect,
            "swelling": forms.RadioSelect,
            "scab_mm": forms.NumberInput(attrs={"min": "0.5", "max": "60", "step": "0.5"}),
            "clinical_grade": forms.RadioSelect,
        }
        labels = {
            "score": "Lesion score",
            "scab": "Scab",
            "scab_mm": "Width of the scab in mm",
            "swelling": "Swelling",
            "hot": "Hot",
            "oozing": "Oozing",
            "cold_or_dark": "Cold or dark",
            "clinical_grade": "Clinical grade, if you know it",
        }
        error_messages = {
            "score": {
                "required": "Say how this foot is: clear, sore or swollen.",
                "invalid_choice": "The lesion score is 0, 1 or 2.",
            }
        }

    def __init__(self, *args, foot: Foot, **kwargs):
        super().__init__(
            *args,
            prefix=foot.value,
            empty_permitted=True,
            use_required_attribute=False,
            **kwargs,
        )
        self.foot = foot
        self.instance.foot = foot
        self.fields["score"].choices = [*LESION.choices, ("", "Not checked")]
        for name in ("scab", "swelling", "clinical_grade"):
            _without_empty_choice(self.fields[name])

    def has_changed(self):
        """Whether anything is said about this foot; also while a stored check is edited."""
        return any(any(self.data.getlist(self.add_prefix(name))) for name in self.fields)

    def marked(self) -> bool:
        """Whether a sore is said to be here, before anything is validated."""
        score = self.data.get(self.add_prefix("score"), "")
        return score not in ("", "0") or bool(self.data.getlist(self.add_prefix("sites")))

    def clean(self):
        said = super().clean()
        if said.get("score") is not None and said["score"] < AFFECTED_FROM:
            marks = [
                self.fields[name].label.lower()
                for name in SORE_FIELDS
                if said.get(name) not in ("", None, False, [], "none")
            ]
            if marks:
                self.add_error(
                    "score",
                    "A clear foot has no sore place, scab or swelling. Score it 1 or 2, or take "
                    f"back what you marked: {', '.join(marks)}.",
                )
        return said


class CheckForm(KeeperModelForm):
    """One look at one bird, with both feet and the photos that came along."""

    check_id = forms.UUIDField(widget=forms.HiddenInput)
    well = forms.BooleanField(
        label="Otherwise well: bright, eating, droppings and belly normal", required=False
    )
    at = forms.DateTimeField(
        label="When",
        widget=forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M"),
        input_formats=["%Y-%m-%dT%H:%M", "%Y-%m-%dT%H:%M:%S", "%Y-%m-%d %H:%M"],
        error_messages={"invalid": "Give the day and the time, like 2026-03-14 17:30."},
    )

    class Meta:
        model = Check
        fields = SIGNS
        widgets = {
            **dict.fromkeys(CHOSEN_SIGNS, forms.RadioSelect),
            "note": forms.Textarea(attrs={"rows": 3}),
        }
        error_messages = {"gait": {"invalid_choice": "The gait score is 0 to 5."}}

    def __init__(self, data=None, *, flock, bird, check: Check | None = None, now=None):
        self.flock, self.bird, self.check = flock, bird, check
        initial = {"check_id": uuid.uuid4(), "at": now}
        if check:
            initial = {"check_id": check.pk, "at": check.at}
            initial["well"] = all(getattr(check, name) == word for name, word in WELL.items())
        # A copy: services put what is typed into the record, with what was there before.
        super().__init__(data, initial=initial, instance=copy(check) if check else None)
        for name in CHOSEN_SIGNS:
            _without_empty_choice(self.fields[name])
        self.lost_photos = 0  # How many have been deleted since they were chosen.
        self.kept_photos = self._kept_photos()

    @property
    def untouched(self) -> bool:
        """Nothing has been said yet: nothing was sent, nor is there a check to mend."""
        return not self.is_bound and self.check is None

    @cached_property
    def feet(self) -> list[FootForm]:
        found = self.check.findings.all() if self.check else []
        findings = {finding.foot: finding for finding in found}
        data = self.data if self.is_bound else None
        return [FootForm(data, foot=foot, instance=findings.get(foot)) for foot in Foot]

    def shown_names(self) -> list[str]:
        return ["at", *SIGNS, *Foot.values, "photos"]

    @property
    def basis(self):
        """What has been taken in of photos goes with a conflict's page."""
        basis = super().basis
        if basis:
            basis.carry = [
                (f"{foot or 'bird'}-kept_photo", str(photo.pk))
                for foot, photos in self.kept_photos.items()
                for photo in photos
            ]
        return basis

    @property
    def signs_given(self) -> bool:
        """Whether the part on gait and general signs holds anything, and so stands open."""
        return any(self[name].value() not in (None, "") for name in CHOSEN_SIGNS)

    @property
    def extras_given(self) -> bool:
        return bool(self["note"].value() or self.bird_photos or self.errors.get("at") or self.check)

    @property
    def bird_photos(self) -> list[Photo]:
        return self.kept_photos.get("", [])

    @property
    def elsewhere(self) -> list[tuple[str, Photo]]:
        """Those, with the foot they were chosen for, that are on record as another bird's."""
        return [
            (foot, photo)
            for foot, photos in self.kept_photos.items()
            for photo in photos
            if is_elsewhere(photo, self.bird.pk)
        ]

    def keep_photo(self, foot: str, photo: Photo) -> None:
        self.kept_photos.setdefault(foot, []).append(photo)

    def _kept_photos(self) -> dict[str, list[Photo]]:
        """Photos that were sent before the check was saved, by foot (empty: the whole bird)."""
        if not self.is_bound:
            photos = self.check.photos.all() if self.check else []
            return _by_foot([(photo.foot, photo) for photo in photos])
        asked = [
            (foot, key)
            for foot in ("", *Foot.values)
            for key in self.data.getlist(f"{foot or 'bird'}-kept_photo")
        ]
        keys = record_keys(key for _, key in asked)
        sent = sent_before(flock=self.flock, bird=self.bird, keys=keys)
        self.lost_photos = sent.lost
        photos = {str(photo.pk): photo for photo in [*sent.own, *sent.elsewhere]}
        return _by_foot([(foot, photos[key]) for foot, key in asked if key in photos])

    def is_valid(self):
        return super().is_valid() and all(foot.is_valid() for foot in self.feet)

    def clean(self):
        said = super().clean()
        looked_at = [foot for foot in self.feet if foot.has_changed()]
        if self.both_clear and any(foot.marked() for foot in looked_at):
            raise ValidationError(
                "You marked a sore place, so both feet cannot be clear. Remove the mark, "
                "or save the check as it is with the button at the end."
            )
        if not self.both_clear and not looked_at:
            raise ValidationError("Say how at least one foot is, or tap “Both feet clear”.")
        return said

    @property
    def both_clear(self) -> bool:
        return self.data.get("verdict") == BOTH_CLEAR

    def seen(self) -> Seen:
        """What a valid form says."""
        if self.both_clear:
            findings = [FootFinding(foot=foot, score=0) for foot in Foot]
        else:
            findings = [foot.save(commit=False) for foot in self.feet if foot.has_changed()]
        signs = {name: self.cleaned_data[name] for name in SIGNS}
        if self.cleaned_data["well"]:
            signs |= {name: signs[name] or word for name, word in WELL.items()}
        others = {photo.pk for _, photo in self.elsewhere}
        photos = {
            foot: [photo for photo in photos if photo.pk not in others]
            for foot, photos in self.kept_photos.items()
        }
        return Seen(findings=findings, photos=photos, signs=signs)


def _without_empty_choice(field) -> None:
    field.choices = [choice for choice in field.choices if choice[0] != ""]


def _by_foot(pairs) -> dict[str, list[Photo]]:
    photos: dict[str, list[Photo]] = {}
    for foot, photo in pairs:
        photos.setdefault(foot, []).append(photo)
    return photos

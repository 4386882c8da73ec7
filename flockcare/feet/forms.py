"""The shape of a check as it is typed: one part for the bird, one for each foot."""

import uuid
from copy import copy

from django import forms
from django.core.exceptions import ValidationError
from django.utils.functional import cached_property

from flockcare.core.forms import KeeperModelForm, record_keys
from flockcare.feet.known import Known
from flockcare.feet.models import FOOT_SIGNS, Check, FootFinding, Site, Swelling
from flockcare.feet.scales import AFFECTED_FROM, LESION
from flockcare.feet.services import FINDING_VALUES, SIGNS, Seen
from flockcare.photos.models import Foot, Photo
from flockcare.photos.services import is_elsewhere, sent_before

BOTH_CLEAR, SAME = "both clear", "same"
# Both clear, and what was marked of a sore was a mistake.
CLEAR_AFTER_ALL = "clear after all"
CHOSEN_SIGNS = [name for name in SIGNS if name != "note"]
DETAILS = [name for name in FINDING_VALUES if name not in ("foot", "score")]
# What only a sore has. The other signs may be on a foot without one.
ONLY_ON_A_SORE = (
    *("sites", "scab", "scab_mm", "swelling", "oozing", "plug_or_hole", "clinical_grade"),
)
# What still the same says of a foot. The width is left to who measures it.
SAME_AGAIN = ("score", "sites", "scab")
# Said with one tap, and each can still be said otherwise: of the bird, and of each foot.
CALM = {"gait": 0, "manner": "bright", "eating": "yes"}
CALM_FOOT = ("hot", "oozing")
# What such a tap said in forms of older versions, which phones keep for months.
WELL = {"manner": "bright", "eating": "yes", "droppings": "normal", "belly": "normal"}

# The chip of a sign, and how one asks whether it is still there.
SIGNS_OF_FOOT = {
    "hot": ("Hot", "Still hot?"),
    "oozing": ("Oozing", "Still oozing?"),
    "cold_or_dark": ("Cold or dark", "Still cold or dark?"),
    "bleeding": ("Bleeding", "Still open or bleeding?"),
    "constricted": ("Thread or wire", "Thread or wire still there?"),
    "plug_or_hole": ("Hole or core", "Still a hole or core?"),
    "joint_swollen": ("Thick joint", "Joint still swollen?"),
    "bone_or_joint": ("Bone or joint?", "Bone, joint or tendon still suspected?"),
    "raised_scales": ("Raised scales", "Scales still raised?"),
}
STILL = {
    "gait": "Still limping?",
    "limps_on": "Still limping?",
    "manner": "Still dull?",
    "eating": "Still not eating?",
    "droppings": "Droppings still abnormal?",
    "belly": "Belly still swollen?",
    "comb": "Comb still pale or purple?",
}
GONE = {"gait": 0, **WELL, "comb": "normal"}


class SignField(forms.Field):
    """A sign: yes, no, or nothing said. A box of older forms says ``on``."""

    widget = forms.RadioSelect
    said = {"yes": True, "on": True, "no": False, "": None}
    choices = (("yes", "Yes"), ("no", "No"))
    default_error_messages = {"invalid": "Say yes or no, or leave it blank."}

    def to_python(self, value):
        if (value or "") not in self.said:
            raise ValidationError(self.error_messages["invalid"])
        return self.said[value or ""]

    def prepare_value(self, value):
        return {True: "yes", "on": "yes", False: "no"}.get(value, value)


class FootForm(KeeperModelForm):
    """What was seen on one foot; left empty, the foot was not checked.

    ``asked``: signs that were there before. ``calm``: whether the chip for all of them tells which
    are not there.
    """

    versioned = False  # The check's form is, as a whole.

    sites = forms.MultipleChoiceField(
        label="Where",
        choices=Site.choices,
        required=False,
        widget=forms.CheckboxSelectMultiple,
    )

    class Meta:
        model = FootFinding
        fields = ["score", *DETAILS]
        field_classes = dict.fromkeys(FOOT_SIGNS, SignField)
        widgets = {
            "score": forms.RadioSelect,
            "scab": forms.RadioSelect,
            "swelling": forms.RadioSelect,
            "scab_mm": forms.NumberInput(attrs={"min": "0.5", "max": "60", "step": "0.5"}),
            "clinical_grade": forms.RadioSelect,
        }
        labels = {
            "score": "How is this foot?",
            "scab": "Scab",
            "scab_mm": "Width of the scab in mm",
            "swelling": "Swelling",
            **{name: label for name, (label, _) in SIGNS_OF_FOOT.items()},
            "clinical_grade": "Clinical grade, if you know it",
        }
        error_messages = {
            "score": {
                "required": "Say how this foot is: clear, mild or swollen.",
                "invalid_choice": "The lesion score is 0, 1 or 2.",
            }
        }

    def __init__(self, *args, foot: Foot, calm: bool = False, **kwargs):
        super().__init__(
            *args,
            prefix=foot.value,
            empty_permitted=True,
            use_required_attribute=False,
            **kwargs,
        )
        self.foot, self.calm, self.asked = foot, calm, {}
        self.instance.foot = foot
        self.fields["score"].choices = [*LESION.choices, ("", "Not checked")]
        for name in ("scab", "swelling", "clinical_grade"):
            _without_empty_choice(self.fields[name])

    def has_changed(self):
        """Whether anything is said about this foot; also while a stored check is edited."""
        return any(any(self.data.getlist(self.add_prefix(name))) for name in self.fields)

    def marked(self) -> list[str]:
        """What says that a sore is here, in words, before anything is validated."""
        found = []
        for name in ("score", *ONLY_ON_A_SORE):
            field = self.fields[name]
            said = self.data.getlist(self.add_prefix(name))
            said = [one for one in said if one not in ("", "0", "none", "no")]
            if name == "score":
                words = {str(value): label.lower() for value, label in field.choices}
                found += [words.get(one, one) for one in said]
            elif name == "sites":
                found += [dict(field.choices).get(one, one) for one in said]
            elif said:
                found.append(field.label.lower())
        return found

    @property
    def proposed(self) -> str:
        """Whether the score was only proposed, as a place was marked: it goes with the place."""
        return "1" if self.is_bound and self.data.get(f"{self.prefix}-proposed") else ""

    def know(self, asked: dict) -> None:
        self.asked = asked
        if "swelling" in asked:
            self.fields["swelling"].label = "Still swollen?"

    @property
    def pairs(self) -> list:
        """Signs that are asked for with yes and no, with the question for another bird."""
        return [
            (self[name], SIGNS_OF_FOOT[name][name in self.asked], SIGNS_OF_FOOT[name][0])
            for name in FOOT_SIGNS
            if self._is_pair(name)
        ]

    def _is_pair(self, name: str) -> bool:
        """One that was there before, or that is denied here and by no other answer."""
        denied = self[name].value() == "no"
        implied = not self.is_bound and (self.calm or self.initial.get("score") == 0)
        return name in self.asked or (denied and not implied)

    @property
    def usual(self) -> list:
        """The chips that stand beside the swelling."""
        return [self[name] for name in FOOT_SIGNS[:3] if not self._is_pair(name)]

    @property
    def others(self) -> list:
        return [self[name] for name in FOOT_SIGNS[3:] if not self._is_pair(name)]

    @property
    def others_given(self) -> bool:
        """Whether the part for what is rare holds anything, and so stands open."""
        rare = [*self.others, self["clinical_grade"]]
        return any(field.value() not in (None, "", "no") or field.errors for field in rare)

    def clean(self):
        said = super().clean()
        if said.get("score") is not None and said["score"] < AFFECTED_FROM:
            marks = [
                self.fields[name].label.lower()
                for name in ONLY_ON_A_SORE
                if said.get(name) not in ("", None, False, [], "none")
            ]
            if marks:
                self.add_error(
                    "score",
                    "A clear foot has no sore place, scab or swelling. Score it 1 or 2, or remove "
                    f"what you marked: {', '.join(marks)}.",
                )
        return said


class CheckForm(KeeperModelForm):
    """One check of one bird, with both feet and the photos that came along.

    ``open_feet``: those on which a sore is known, so that nobody closes a case unasked. A phone
    that sends later does not know them.
    """

    check_id = forms.UUIDField(widget=forms.HiddenInput)
    calm = forms.BooleanField(
        label="Not swollen, hot or oozing; walks well; bright and eating", required=False
    )
    well = forms.BooleanField(required=False)
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
        labels = {
            "gait": "How the bird walks",
            "limps_on": "Which leg?",
            "manner": "How the bird is",
            "comb": "Comb",
        }
        error_messages = {"gait": {"invalid_choice": "The gait score is 0 to 5."}}

    def __init__(
        self, data=None, *, flock, bird, check: Check | None = None, now=None, open_feet=()
    ):
        self.flock, self.bird, self.check, self.known = flock, bird, check, None
        self.open_feet = open_feet
        # Of one that left, only who checked her knows whether that was before.
        initial = {"check_id": uuid.uuid4(), "at": None if bird.left else now}
        if check:
            initial = {"check_id": check.pk, "at": check.at, "calm": _is_calm(check)}
        if data is not None:
            data = self._in_full(data)
        # A copy: services put what is typed into the record, with what was there before.
        super().__init__(data, initial=initial, instance=copy(check) if check else None)
        if bird.left:
            asked = f"{bird} has left the flock. When was this check?"
            self.fields["at"].error_messages["required"] = asked
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
        calm = bool(self.initial.get("calm"))
        forms = [FootForm(data, foot=foot, calm=calm, instance=findings.get(foot)) for foot in Foot]
        self._tell(forms)
        return forms

    def know(self, known: Known) -> None:
        """Ask also for what was there before."""
        self.known = known
        if self.is_bound:  # Else the forms of the feet may not be needed at all: see `untouched`.
            self._tell(self.feet)

    def _tell(self, forms: list[FootForm]) -> None:
        for form, foot in zip(forms, self.known.feet if self.known else (), strict=False):
            form.know(foot.asked)

    def says_of(self, foot: Foot) -> bool:
        """Whether anything was sent about this foot."""
        return any(any(self.data.getlist(f"{foot}-{name}")) for name in FootForm.base_fields)

    @property
    def checked(self) -> dict[Foot, FootForm]:
        """The forms of the feet about which anything is said: none where a button says it all."""
        said = [foot for foot in Foot if self.says_of(foot)]
        return {form.foot: form for form in self.feet if form.foot in said} if said else {}

    @property
    def asked_key(self) -> str:
        """What sets the parts on the feet apart from those for another bird."""
        feet = self.known.feet if self.known else ()
        return ",".join(f"{foot.foot[0]}-{name}" for foot in feet for name in foot.asked)

    @property
    def still(self) -> list[tuple[str, list[tuple[str, object, str, bool]]]]:
        """Questions for signs of the bird that were there before, with the field of each answer."""
        asked = self.known.asked if self.known else {}
        asked = {name: value for name, value in asked.items() if name in STILL}
        if "gait" in asked:
            asked.pop("limps_on", None)
        found = []
        for name, value in asked.items():
            gone = "gait" if name == "limps_on" else name
            answers = [(name, value, "Yes"), (gone, GONE[gone], "No")]
            chosen = [str(self[of].value()) == str(said) for of, said, _ in answers]
            answers = [(*one, yes) for one, yes in zip(answers, chosen, strict=True)]
            found.append((STILL[name], answers))
        return found

    def _in_full(self, data):
        """What short answers stand for, where nothing else is said of that foot."""
        data = data.copy()
        if data.get("verdict") == CLEAR_AFTER_ALL:
            data["verdict"] = BOTH_CLEAR
            for foot in Foot.values:
                for name in ("score", "same", "proposed", *ONLY_ON_A_SORE):
                    data.pop(f"{foot}-{name}", None)
        clear = self._said_clear(data)
        for foot in Foot.values:
            score = f"{foot}-score"
            if data.get(score):
                continue
            key = data.get(f"{foot}-same")
            if data.get("verdict") == SAME:
                key = data.get(f"{foot}-was")
            if key and (before := self._seen_before(foot, key)):
                for name in SAME_AGAIN:
                    if not any(data.getlist(f"{foot}-{name}")):
                        said = getattr(before, name)
                        data.setlist(f"{foot}-{name}", said if name == "sites" else [str(said)])
            elif foot in clear and any(any(data.getlist(f"{foot}-{sign}")) for sign in FOOT_SIGNS):
                data[score] = "0"
        return data

    def _seen_before(self, foot: str, key: str) -> FootFinding | None:
        of_bird = FootFinding.objects.filter(check_record__bird=self.bird, foot=foot)
        return of_bird.filter(check_record__in=record_keys([key])).first()

    def _said_clear(self, data) -> list[str]:
        """The feet that a button said to be clear."""
        if "clear" in data:
            return [foot for foot in Foot.values if foot in data["clear"].split()]
        both = data.get("verdict") == BOTH_CLEAR and not self.open_feet
        return Foot.values if both else []

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
        given = self["note"].value() or self.bird_photos or self.errors.get("at")
        return bool(given or self.check or self.bird.left)

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
        return super().is_valid() and all(foot.is_valid() for foot in self.checked.values())

    def clean(self):
        said = super().clean()
        checked = self.checked
        if self.marked_though_clear:
            feet = "; ".join(
                f"the {foot.label} is marked: {', '.join(words)}"
                for foot, words in self.marked_though_clear.items()
            )
            raise ValidationError(
                f"Not saved: both feet cannot be clear while {feet}. Clear that, or save the "
                "check as it is with the button at the end."
            )
        if self.asks_healed:
            raise ValidationError("One more answer is needed.")
        if not checked and not self._said_clear(self.data):
            raise ValidationError("Say how at least one foot is, or tap “Both feet clear”.")
        return said

    @cached_property
    def marked_though_clear(self) -> dict[Foot, list[str]]:
        """What is still marked of a sore, in words by foot, where both feet were called clear."""
        marked = {foot: form.marked() for foot, form in self.checked.items() if self.both_clear}
        return {foot: words for foot, words in marked.items() if words}

    @property
    def both_clear(self) -> bool:
        return self.data.get("verdict") == BOTH_CLEAR or "clear" in self.data

    @property
    def asks_healed(self) -> bool:
        """Whether both feet were called clear while one of them had a sore."""
        asked = self.data.get("verdict") == BOTH_CLEAR and "clear" not in self.data
        return asked and bool(self.open_feet) and not self.marked_though_clear

    def seen(self) -> Seen:
        """What a valid form says."""
        told = self.cleaned_data
        clear, checked = self._said_clear(self.data), self.checked
        findings = [
            checked[foot].save(commit=False) if foot in checked else FootFinding(foot=foot, score=0)
            for foot in Foot
            if foot in (clear or checked)
        ]
        signs = {name: told[name] for name in SIGNS}
        if told["well"]:
            signs |= {name: signs[name] or word for name, word in WELL.items()}
        if told["calm"]:
            calm = {name: word for name, word in CALM.items() if signs[name] in (None, "")}
            if signs["limps_on"]:
                calm.pop("gait", None)
            signs |= calm
            for finding in findings:
                _calm_down(finding)
        others = {photo.pk for _, photo in self.elsewhere}
        photos = {
            foot: [photo for photo in photos if photo.pk not in others]
            for foot, photos in self.kept_photos.items()
        }
        return Seen(findings=findings, photos=photos, signs=signs)


def _calm_down(finding: FootFinding) -> None:
    """Deny the signs that nothing is said about. A swollen foot is swollen all the same."""
    if finding.score == AFFECTED_FROM and not finding.swelling:
        finding.swelling = Swelling.NONE
    for name in CALM_FOOT:
        if getattr(finding, name) is None:
            setattr(finding, name, False)


def _is_calm(check: Check) -> bool:
    findings = check.findings.all()
    return all(getattr(check, name) == word for name, word in CALM.items()) and all(
        (finding.score != AFFECTED_FROM or finding.swelling == Swelling.NONE)
        and all(getattr(finding, name) is False for name in CALM_FOOT)
        for finding in findings
    )


def _without_empty_choice(field) -> None:
    field.choices = [choice for choice in field.choices if choice[0] != ""]


def _by_foot(pairs) -> dict[str, list[Photo]]:
    photos: dict[str, list[Photo]] = {}
    for foot, photo in pairs:
        photos.setdefault(foot, []).append(photo)
    return photos

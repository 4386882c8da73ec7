"""What commonly lies in the box (common practice, no published source).

Nothing to cut or to pull with: that is for a vet.
"""

from dataclasses import dataclass

from flockcare.care.models import ItemKind


@dataclass(frozen=True)
class Thing:
    name: str
    kind: ItemKind
    unit: str = ""
    no_medicine: bool = False


STARTING_KIT = (
    Thing("Gloves", ItemKind.GLOVES, "pairs"),
    Thing("Epsom salt", ItemKind.EPSOM_SALT, "g"),
    Thing("Antiseptic rinse", ItemKind.ANTISEPTIC, "ml"),
    Thing("Plain ointment", ItemKind.OINTMENT, "g", no_medicine=True),
    Thing("Gauze", ItemKind.GAUZE, "pads"),
    Thing("Soft strips or wrap", ItemKind.WRAP, "rolls"),
)

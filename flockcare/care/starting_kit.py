"""What commonly lies in the box (common practice, no published source)."""

from dataclasses import dataclass

from flockcare.care.models import ItemKind


@dataclass(frozen=True)
class Thing:
    name: str
    kind: ItemKind
    unit: str = ""
    no_medicine: bool = False


STARTING_KIT = (
    Thing("Fine blades, sterile, used once", ItemKind.BLADE, "blades"),
    Thing("Tweezers", ItemKind.TWEEZERS),
    Thing("Gloves", ItemKind.GLOVES, "pairs"),
    Thing("Epsom salt", ItemKind.EPSOM_SALT, "g"),
    Thing("Antiseptic rinse", ItemKind.ANTISEPTIC, "ml"),
    Thing("Plain ointment", ItemKind.OINTMENT, "g", no_medicine=True),
    Thing("Gauze", ItemKind.GAUZE, "pads"),
    Thing("Soft strips or wrap", ItemKind.WRAP, "rolls"),
)

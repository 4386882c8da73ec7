"""The vets whom the flock rings."""

from flockcare.care.models import VetContact
from flockcare.exchange.tables.base import Table
from flockcare.exchange.tables.columns import fields_of

_contact = fields_of(VetContact)


class Vets(Table):
    name = "vets.csv"
    about = "The vets whom the flock rings."
    model = VetContact
    columns = (
        _contact("vet", "Name of the vet or the practice.", field="name", required=True),
        _contact("telephone", "The number, as it is dialled.", required=True),
        _contact("note", "Who answers out of hours, and anything else."),
        _contact("is_usual", "This one is rung first."),
    )
    key = ("vet",)
    silent = ("is_usual",)
    contradiction = "There is a vet “{vet}” already, with something else about them."
    blamed = "vet"

    def plan(self, work) -> None:
        contacts = VetContact.objects.filter(flock=work.flock)
        work.vets = {contact.name.lower(): contact for contact in contacts}
        super().plan(work)

    def add(self, row, contact) -> None:
        vets = row.work.vets
        # Only one is rung first, and whoever is here already goes before.
        contact.is_usual &= not any(other.is_usual for other in vets.values())
        vets[contact.name.lower()] = contact
        super().add(row, contact)

"""The flock's vets and their telephone, and the photo of a prescription."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from flockcare.care import services
from flockcare.care.forms import ContactForm, PrescriptionForm, posted
from flockcare.care.models import CareStep, StepKind, VetContact
from flockcare.core.forms import saved
from flockcare.people.access import flock_view
from flockcare.people.models import Role
from flockcare.photos.services import add_photos


@require_safe
@flock_view()
def vets(request, flock):
    contacts = VetContact.objects.filter(flock=flock).order_by("-is_usual", "name")
    return render(request, "care/vets.html", {"here": "more", "contacts": contacts})


@require_http_methods(["GET", "POST"])
@flock_view(Role.KEEPER, read=Role.KEEPER)
def vet_new(request, flock):
    return _contact_page(request, flock, VetContact(flock=flock))


@require_http_methods(["GET", "POST"])
@flock_view(Role.KEEPER, read=Role.KEEPER)
def vet_edit(request, flock, contact_id):
    return _contact_page(request, flock, _contact_or_404(flock, contact_id))


def _contact_page(request, flock, contact):
    form = ContactForm(posted(request), instance=contact)
    new = contact._state.adding
    if (
        request.method == "POST"
        and form.is_valid()
        and saved(
            form,
            services.save_contact,
            contact=form.instance,
            by=request.user,
            basis=form.basis,
        )
    ):
        messages.success(request, f"Saved: {contact}.")
        return redirect("care:vets", flock.pk)
    return render(
        request,
        "care/vet.html",
        {"here": "more", "contact": None if new else contact, "form": form},
        status=422 if form.errors else 200,
    )


@require_POST
@flock_view()
def vet_delete(request, flock, contact_id):
    contact = _contact_or_404(flock, contact_id)
    services.delete_contact(contact=contact, by=request.user)
    messages.success(request, f"Deleted: {contact}. Visits keep what was said.")
    return redirect("care:vets", flock.pk)


def _contact_or_404(flock, contact_id) -> VetContact:
    contacts = VetContact.objects.select_related("flock")
    return get_object_or_404(contacts, flock=flock, pk=contact_id)


@require_POST
@flock_view()
def prescription(request, flock, step_id):
    """A photo of the paper, kept beside the visit and nowhere else."""
    steps = CareStep.objects.filter(kind=StepKind.VET).select_related("bird", "flock")
    step = get_object_or_404(steps, flock=flock, pk=step_id)
    form = PrescriptionForm(request.POST, request.FILES)
    if not form.is_valid():
        messages.warning(request, " ".join(form.errors["prescription"]))
        return redirect("care:step", flock.pk, step.pk)
    kept, refusals = add_photos(
        flock=flock,
        keeper=request.user,
        uploads=[form.cleaned_data["prescription"]],
        now=timezone.now(),
    )
    for photo in kept:
        try:
            services.keep_prescription(step=step, photo=photo)
        except ValidationError as error:
            refusals += error.messages
        else:
            messages.success(request, f"Saved: the prescription of {step.bird}.")
    for refusal in refusals:
        messages.warning(request, refusal)
    return redirect("care:step", flock.pk, step.pk)

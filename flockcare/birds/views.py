"""Pages about who the birds are and what they weigh."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.db.models import Count, Q
from django.db.models.functions import Lower
from django.shortcuts import get_object_or_404, redirect, render
from django.template.defaultfilters import pluralize
from django.urls import reverse
from django.utils import timezone
from django.utils.html import format_html
from django.views.decorators.http import require_POST, require_safe

from flockcare.birds import services
from flockcare.birds.age import growing_words, may_be_growing
from flockcare.birds.breeds import known_breed
from flockcare.birds.forms import BirdForm, BirdListForm, BreedForm, WeighingForm
from flockcare.birds.models import Bird, Sex, Weighing
from flockcare.core.forms import saved
from flockcare.people import keys
from flockcare.people.access import flock_view
from flockcare.people.bylines import with_names
from flockcare.people.models import Role

form_page = flock_view(Role.KEEPER, read=Role.KEEPER)


def _bird_or_404(flock, bird_id) -> Bird:
    return get_object_or_404(Bird.objects.select_related("breed", "flock"), flock=flock, pk=bird_id)


@form_page
def bird_add(request, flock):
    form = BirdForm(request.POST or None, instance=Bird(flock=flock), today=timezone.localdate())
    if form.is_valid() and saved(
        form,
        services.add_bird,
        bird=form.instance,
        breed_name=form.cleaned_data["breed_name"],
        quarantine_from=form.quarantine_from(),
        by=request.user,
    ):
        messages.success(request, f"{form.instance} is in the flock.")
        _ask_for_weight(request, form.instance)
        return redirect("birds:add" if "another" in request.POST else "birds", flock.pk)
    return render(request, "birds/add.html", {"flock": flock, "here": "birds", "form": form})


def _ask_for_weight(request, bird: Bird) -> None:
    """Say so where neither a weighing nor her breed tells what she lands with."""
    grown = not may_be_growing(bird.hatched, timezone.localdate())
    if (grown and bird.breed and bird.breed.adult_grams) or bird.weighing_set.exists():
        return
    key, weigh = bird.flock_id, reverse("birds:weighings", args=[bird.flock_id, bird.pk])
    her = bird.pronouns
    if bird.breed:
        words = f"set the weight of {her.possessive} breed"
        otherwise = reverse("birds:breed_edit", args=[key, bird.breed_id])
    else:
        words, otherwise = (
            f"choose {her.possessive} breed",
            reverse("birds:edit", args=[key, bird.pk]),
        )
    messages.info(
        request,
        format_html(
            '{} weight is not known. When there is time, <a href="{}">weigh {}</a>, or '
            '<a href="{}">{}</a>: then a house shows how hard {} lands.',
            her.possessive.capitalize(),
            weigh,
            her.object,
            otherwise,
            words,
            her.subject,
        ),
    )


@form_page
def bird_edit(request, flock, bird_id):
    bird = _bird_or_404(flock, bird_id)
    name, breed = bird.name, bird.breed_id
    form = BirdForm(request.POST or None, instance=bird, today=timezone.localdate())
    if form.is_valid() and saved(
        form,
        services.edit_bird,
        bird=form.instance,
        breed_name=form.cleaned_data["breed_name"],
        by=request.user,
        basis=form.basis,
    ):
        messages.success(request, f"Saved: the details of {bird}.")
        if bird.breed_id != breed:
            _ask_for_weight(request, bird)
        return redirect(bird)
    return render(
        request,
        "birds/edit.html",
        {"flock": flock, "here": "birds", "form": form, "bird": bird, "name": name},
    )


@form_page
def bird_add_many(request, flock):
    """First a look at how the list was read, then the birds."""
    form = BirdListForm(request.POST or None, flock=flock)
    if (
        form.is_valid()
        and "add" in request.POST
        and saved(form, services.add_birds, flock=flock, birds=form.birds())
    ):
        count = len(form.read)
        said = '{} bird{} added. <a href="{}">Start a round on Today</a>'
        today = reverse("today", args=[flock.pk])
        messages.success(request, format_html(said, count, pluralize(count), today))
        return redirect("birds", flock.pk)
    return render(
        request,
        "birds/add_many.html",
        {"flock": flock, "here": "birds", "form": form, "ready": form.is_valid()},
    )


@flock_view()
def weighings(request, flock, bird_id):
    """Her weighings beside the adult weight of her breed, and the form for another."""
    bird = _bird_or_404(flock, bird_id)
    today = timezone.localdate()
    form = WeighingForm(
        request.POST or None,
        instance=Weighing(flock=flock, bird=bird, keeper=request.user),
        today=today,
        initial={"on": today},
    )
    if form.is_valid() and _weighed(form):
        messages.success(request, f"Saved: a weighing of {bird}.")
        return redirect("birds:weighings", flock.pk, bird.pk)
    found = with_names(bird.weighing_set.select_related("keeper").order_by("-on"))
    context = {
        "flock": flock,
        "here": "birds",
        "bird": bird,
        "form": form,
        "adult": bird.breed.adult_grams if bird.breed and bird.sex != Sex.COCK else None,
        "weighings": [(weighing, *_compared(bird, weighing)) for weighing in found],
    }
    return render(request, "birds/weighings.html", context)


def _compared(bird: Bird, weighing: Weighing) -> tuple[int | None, str]:
    """Percent of a grown hen's weight, and why there is none."""
    adult = bird.adult_grams_on(weighing.on)
    share = round(100 * weighing.grams / adult) if adult else None
    return share, growing_words(bird.hatched, weighing.on)


def _weighed(form) -> bool:
    try:
        return saved(form, services.weigh, weighing=form.instance)
    except keys.KeyTaken as taken:
        form.add_error(None, keys.refusal(taken, _address))
        return False


def _address(weighing: Weighing) -> str:
    owners = [weighing.flock_id, weighing.bird_id]
    return reverse("birds:weighing_edit", args=[*owners, weighing.pk])


@form_page
def weighing_edit(request, flock, bird_id, weighing_id):
    weighing = get_object_or_404(
        Weighing.objects.select_related("flock", "bird"), flock=flock, bird=bird_id, pk=weighing_id
    )
    on = weighing.on
    form = WeighingForm(request.POST or None, instance=weighing, today=timezone.localdate())
    if form.is_valid() and saved(
        form, services.change_weighing, weighing=weighing, by=request.user, basis=form.basis
    ):
        messages.success(request, f"Saved: the weighing of {weighing.bird}.")
        return redirect("birds:weighings", flock.pk, bird_id)
    context = {"flock": flock, "here": "birds", "form": form, "weighing": weighing, "on": on}
    return render(request, "birds/weighing.html", context)


@require_POST
@form_page
def weighing_delete(request, flock, bird_id, weighing_id):
    weighing = get_object_or_404(
        Weighing.objects.select_related("flock"), flock=flock, bird=bird_id, pk=weighing_id
    )
    services.delete_weighing(weighing=weighing, by=request.user)
    messages.success(request, "The weighing is deleted.")
    return redirect("birds:weighings", flock.pk, bird_id)


@require_safe
@flock_view()
def breeds(request, flock):
    here = Count("bird", filter=Q(bird__left=""))
    entries = flock.breed_set.annotate(birds_here=here).order_by(Lower("name"))
    return render(
        request, "birds/breeds.html", {"flock": flock, "here": "more", "entries": entries}
    )


@form_page
def breed_edit(request, flock, breed_id):
    breed = get_object_or_404(flock.breed_set, pk=breed_id)
    name = breed.name
    form = BreedForm(request.POST or None, instance=breed)
    if form.is_valid() and saved(
        form, services.edit_breed, breed=form.instance, by=request.user, basis=form.basis
    ):
        messages.success(request, f"Saved: the breed {form.instance}.")
        return redirect("birds:breeds", flock.pk)
    return render(
        request,
        "birds/breed_edit.html",
        {
            "flock": flock,
            "here": "more",
            "form": form,
            "breed": breed,
            "name": name,
            "published": known_breed(name),
        },
    )


@require_POST
@form_page
def breed_delete(request, flock, breed_id):
    breed = get_object_or_404(flock.breed_set, pk=breed_id)
    try:
        services.delete_breed(breed=breed, by=request.user)
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
        return redirect("birds:breed_edit", flock.pk, breed.pk)
    messages.success(request, f"{breed} is deleted.")
    return redirect("birds:breeds", flock.pk)

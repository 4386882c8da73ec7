"""The kit and its shopping list; withdrawals and the days that nobody entered yet."""

from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from flockcare.care import services
from flockcare.care.forms import DaysForm, ItemForm, posted
from flockcare.care.holds import open_holds, unknown_products
from flockcare.care.kit import missing_things, shelves
from flockcare.care.models import KitItem
from flockcare.care.standing_words import names
from flockcare.core.forms import saved
from flockcare.people.access import flock_view
from flockcare.people.models import Role


@require_safe
@flock_view()
def kit(request, flock):
    held = shelves(KitItem.objects.filter(flock=flock), today=timezone.localdate())
    return render(
        request,
        "care/kit.html",
        {
            "here": "more",
            "shelves": held,
            "to_buy": [shelf for shelf in held if shelf.to_buy],
            "missing": missing_things(shelf.item for shelf in held),
        },
    )


@require_POST
@flock_view()
def fill(request, flock):
    number = services.fill_kit(flock=flock)
    messages.success(request, f"{number} things are on the list. Open each to enter what you have.")
    return redirect("care:kit", flock.pk)


def _item_page(request, flock, item):
    form = ItemForm(posted(request), instance=item)
    if (
        request.method == "POST"
        and form.is_valid()
        and saved(form, services.save_item, item=form.instance, by=request.user, basis=form.basis)
    ):
        messages.success(request, f"Saved: {item}.")
        return redirect("care:kit", flock.pk)
    return render(
        request,
        "care/item.html",
        {"here": "more", "item": None if item._state.adding else item, "form": form},
        status=422 if form.errors else 200,
    )


@require_http_methods(["GET", "POST"])
@flock_view(Role.KEEPER, read=Role.KEEPER)
def item_new(request, flock):
    return _item_page(request, flock, KitItem(flock=flock))


@require_http_methods(["GET", "POST"])
@flock_view(Role.KEEPER, read=Role.KEEPER)
def item_edit(request, flock, item_id):
    return _item_page(
        request,
        flock,
        get_object_or_404(KitItem.objects.select_related("flock"), flock=flock, pk=item_id),
    )


@require_POST
@flock_view()
def item_delete(request, flock, item_id):
    item = get_object_or_404(KitItem.objects.select_related("flock"), flock=flock, pk=item_id)
    services.delete_item(item=item, by=request.user)
    messages.success(request, f"{item} is deleted from the kit. Care logged with it stays.")
    return redirect("care:kit", flock.pk)


@require_http_methods(["GET", "POST"])
@flock_view()
def holds(request, flock):
    """Whose eggs and meat are withdrawn, and products whose days nobody entered."""
    held = open_holds(flock, now=timezone.now())
    unknown = unknown_products(held)
    form = DaysForm(posted(request), prefix=None)
    if request.method == "POST" and form.is_valid():
        said = form.cleaned_data
        steps = [
            step for product in unknown if product.name == said["product"] for step in product.steps
        ]
        for step in steps:
            step.flock = flock
        told = [name for name in ("egg_days", "meat_days") if said[name] is not None]
        new = any(getattr(step, name) is None for step in steps for name in told)
        services.enter_days(
            steps=steps,
            egg_days=said["egg_days"],
            meat_days=said["meat_days"],
            days_from=said["days_from"],
            by=request.user,
        )
        if new:
            whom = names(sorted({step.bird.name for step in steps}, key=str.lower))
            messages.success(request, f"Entered for {said['product']}, given to {whom}.")
        else:
            messages.warning(request, _entered_already(said))
        return redirect("care:holds", flock.pk)
    asked = form.data.get("product") if form.is_bound else None
    forms = [
        (product, form if asked == product.name else DaysForm(initial={"product": product.name}))
        for product in unknown
    ]
    return render(
        request,
        "care/holds.html",
        {
            "here": "today",
            "holds": [hold for hold in held if hold.eggs_until or hold.meat_until],
            "unknown": forms,
        },
        status=422 if form.errors else 200,
    )


def _entered_already(said: dict) -> str:
    days = [
        f"{what} {number} days"
        for what, number in (("eggs", said["egg_days"]), ("meat", said["meat_days"]))
        if number is not None
    ]
    return (
        f"The days of {said['product']} have just been entered by somebody else. Yours are "
        f"not saved: {', '.join(days)}. Open the care given to change them."
    )

"""Deleting a flock or one's own account: what goes is told first, and an export is offered."""

from django import forms
from django.contrib import messages
from django.contrib.auth import logout
from django.core.exceptions import ValidationError
from django.shortcuts import redirect, render

from flockcare.core.forms import KeeperForm
from flockcare.people.access import flock_view
from flockcare.people.deletion import (
    FORMER,
    delete_flock,
    delete_keeper,
    owned_alone,
    what_goes,
)
from flockcare.people.models import Keeper, Role


class DeleteFlockForm(KeeperForm):
    name = forms.CharField(
        label="Type the name of the flock",
        widget=forms.TextInput(attrs={"autocomplete": "off", "spellcheck": "false"}),
    )

    def __init__(self, *args, flock, **kwargs):
        super().__init__(*args, **kwargs)
        self.flock = flock

    def clean_name(self):
        name = self.cleaned_data["name"]
        if " ".join(name.split()).lower() != " ".join(self.flock.name.split()).lower():
            raise ValidationError(f"That is not its name. The flock is called {self.flock}.")
        return name


class DeleteAccountForm(KeeperForm):
    keep_name = forms.ChoiceField(
        label="What you recorded stays in the flocks",
        widget=forms.RadioSelect(attrs={"class": "chips"}),
    )
    password = forms.CharField(
        label="Your password",
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
    )

    def __init__(self, *args, keeper: Keeper, **kwargs):
        super().__init__(*args, **kwargs)
        self.keeper = keeper
        self.fields["keep_name"].choices = [
            ("", f"by “{FORMER}”"),
            ("yes", f"by {keeper.name}"),
        ]
        self.fields["keep_name"].required = False

    def clean_password(self):
        if not self.keeper.check_password(self.cleaned_data["password"]):
            raise ValidationError("That is not your password. Try again.")
        return self.cleaned_data["password"]


@flock_view(Role.OWNER, read=Role.OWNER)
def flock_delete(request, flock):
    form = DeleteFlockForm(request.POST or None, flock=flock)
    if form.is_valid():
        delete_flock(flock=flock)
        messages.success(request, f"{flock} is deleted, with everything that belonged to it.")
        return redirect("people:flocks")
    context = {"flock": flock, "here": "more", "form": form, "goes": what_goes(flock)}
    status = 422 if form.is_bound else 200
    return render(request, "people/flock_delete.html", context, status=status)


def account_delete(request):
    keeper = Keeper.objects.get(pk=request.user.pk)
    form = DeleteAccountForm(request.POST or None, keeper=keeper)
    if form.is_valid():
        try:
            delete_keeper(keeper=keeper, keep_name=bool(form.cleaned_data["keep_name"]))
        except ValidationError as error:
            form.add_error(None, error)
        else:
            logout(request)
            messages.success(request, "Your account is deleted.")
            return redirect("people:home")
    context = {"form": form, "alone": owned_alone(keeper)}
    status = 422 if form.is_bound else 200
    return render(request, "people/account_delete.html", context, status=status)

"""Pages about keepers, flocks and who belongs to which."""

from functools import wraps

import segno
from django.conf import settings
from django.contrib import messages
from django.contrib.auth import authenticate, login, logout, update_session_auth_hash
from django.contrib.auth.decorators import login_not_required
from django.core.exceptions import ValidationError
from django.http.request import split_domain_port
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.safestring import mark_safe
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from flockcare.people import attempts, devices, services
from flockcare.people.access import flock_view
from flockcare.people.deletion import owned_alone
from flockcare.people.forms import (
    ChangePasswordForm,
    FlockSettingsForm,
    KeeperNameForm,
    NewFlockForm,
    NewKeeperForm,
    NewPasswordForm,
    RoleForm,
    SignInForm,
)
from flockcare.people.models import Flock, Invitation, Keeper, Membership, PasswordLink, Role

LAST_FLOCK = "flock"
THIS_COMPUTER = {"localhost", "127.0.0.1", "[::1]"}


# Coming in


@login_not_required
def home(request):
    """The way in: today of the flock used last, or what has to come before that."""
    if not request.user.is_authenticated:
        return redirect("people:sign_in" if Keeper.objects.exists() else "people:set_up")
    flocks = {str(pk) for pk in Flock.objects.of(request.user).values_list("pk", flat=True)}
    last = request.session.get(LAST_FLOCK)
    if last in flocks:
        return redirect("today", last)
    if len(flocks) == 1:
        return redirect("today", flocks.pop())
    return redirect("people:flocks")


@login_not_required
def set_up(request):
    if Keeper.objects.exists():
        return redirect("people:sign_in")
    data = request.POST if request.method == "POST" else None
    brings = bool(data) and "bring" in data
    keeper_form = NewKeeperForm(data, prefix="keeper")
    flock_form = NewFlockForm(None if brings else data, prefix="flock")
    if data and all([keeper_form.is_valid(), brings or flock_form.is_valid()]):
        try:
            keeper, flock = services.set_up(
                keeper=keeper_form.fields_of_keeper(),
                flock=None if brings else flock_form.cleaned_data,
            )
        except ValidationError as error:  # Somebody else was quicker.
            messages.error(request, " ".join(error.messages))
            return redirect("people:sign_in")
        login(request, keeper)
        onward = redirect("import") if brings else _enter(request, flock)
        return devices.remember(request, keeper, onward)
    return render(
        request, "people/set_up.html", {"keeper_form": keeper_form, "flock_form": flock_form}
    )


@login_not_required
@never_cache
def sign_in(request):
    next_page = request.POST.get("next", request.GET.get("next", ""))
    # Without a slash it would be taken for the name of a view.
    if not next_page.startswith("/") or not url_has_allowed_host_and_scheme(
        next_page, allowed_hosts={request.get_host()}, require_https=request.is_secure()
    ):
        next_page = ""
    if request.user.is_authenticated:
        return redirect(next_page or "people:home")
    form = SignInForm(request.POST or None)
    if form.is_valid() and (keeper := _keeper_of(request, form)):
        login(request, keeper)
        return devices.remember(request, keeper, redirect(next_page or "people:home"))
    return render(
        request,
        "people/sign_in.html",
        {
            "form": form,
            "next": next_page,
            "demo_password": settings.DEMO_PASSWORD,
        },
    )


def _keeper_of(request, form) -> Keeper | None:
    """The keeper whose name and password were typed; otherwise the form says what is wrong."""
    name = form.cleaned_data["sign_in_name"]
    place = attempts.place_of(request, name)
    if wait := attempts.wait(name=name, place=place):
        words = attempts.in_words(wait)
        form.add_error(None, f"Too many wrong passwords. Wait {words}, then try again.")
        return None
    keeper = authenticate(request, username=name, password=form.cleaned_data["password"])
    if keeper is None:
        form.add_error(
            None,
            "Wrong sign-in name or password. Forgot it? An owner of your flock can give you a "
            "password link.",
        )
    else:
        attempts.forget(name=name, place=place)
    return keeper


@require_POST
def sign_out(request):
    logout(request)
    return redirect("people:sign_in")


def _enter(request, flock):
    """Go to a flock, and come back to it next time."""
    if request.session.get(LAST_FLOCK) != str(flock.pk):
        request.session[LAST_FLOCK] = str(flock.pk)
    return redirect(flock)


# Addresses that are a key by themselves


def secret_link(view):
    """Serve without sign-in, never store, and never pass the address on as referrer.

    ``strict-origin``, because with ``no-referrer`` browsers send ``Origin: null`` with the form
    on the page, which is then refused as coming from elsewhere (Fetch standard, "append a request
    Origin header").
    """

    @wraps(view)
    def wrapper(request, *args, **kwargs):
        response = view(request, *args, **kwargs)
        response.headers["Referrer-Policy"] = "strict-origin"
        return response

    return login_not_required(never_cache(wrapper))


@secret_link
def join(request, token):
    """Looking changes nothing (messengers fetch links for a preview); the button joins."""
    invitation = (
        Invitation.objects.usable(token, now=timezone.now())
        .select_related("flock", "made_by")
        .first()
    )
    if invitation is None:
        return _gone(request, "invitation")
    known = request.user.is_authenticated
    form = NewKeeperForm(request.POST or None)
    if request.method == "POST" and (known or form.is_valid()):
        try:
            if known:
                services.accept_invitation(token=token, keeper=request.user)
            else:
                membership = services.join_as_new_keeper(token=token, **form.fields_of_keeper())
                login(request, membership.keeper)
        except services.LinkGone:
            return _gone(request, "invitation")
        except ValidationError as error:
            form.add_error(None, error)
        else:
            return devices.remember(request, request.user, _enter(request, invitation.flock))
    return render(
        request,
        "people/join.html",
        {
            "invitation": invitation,
            "may": Role(invitation.role).may,
            "form": form,
            "member": known
            and Membership.objects.filter(flock=invitation.flock, keeper=request.user).exists(),
        },
    )


@secret_link
def new_password(request, token):
    link = PasswordLink.objects.usable(token, now=timezone.now()).select_related("keeper").first()
    if link is None:
        return _gone(request, "password")
    form = NewPasswordForm(request.POST or None)
    if form.is_valid():
        try:
            keeper = services.set_password_by_link(
                token=token, password=form.cleaned_data["password"]
            )
        except services.LinkGone:
            return _gone(request, "password")
        login(request, keeper)
        messages.success(request, "Your new password is set.")
        return devices.remember(request, keeper, redirect("people:home"))
    return render(request, "people/new_password.html", {"form": form, "keeper": link.keeper})


def _gone(request, what):
    return render(request, "people/link_gone.html", {"what": what}, status=410)


def link_to_show(request, address: str) -> dict:
    """What a page needs to show a new link, as text and as a code.

    ``only_here``: nobody else can open it; ``for_phones``: the address they can, where it is known.
    """
    link = request.build_absolute_uri(address)
    code = segno.make(link, micro=False, error="m")
    svg = code.svg_inline(border=4, light="#fff", omitsize=True, svgclass="qr")
    return {
        "link": link,
        "qr": mark_safe(svg),  # noqa: S308 (drawn by us, holds no text)
        "only_here": split_domain_port(request.get_host())[0] in THIS_COMPUTER,
        "for_phones": _address_for_phones(request),
    }


def _address_for_phones(request) -> str:
    """Where this installation is found from elsewhere, as far as its settings tell."""
    hosts = (host for host in settings.ALLOWED_HOSTS if host not in THIS_COMPUTER)
    named = next((host for host in hosts if host[0] not in "*."), None)
    if named is None:
        return ""
    if settings.BEHIND_PROXY:
        return f"https://{named}/"
    return f"{request.scheme}://{named}:{request.get_port()}/"


def _show_link(request, flock, address: str, **context):
    """The one time that a link is shown. It is kept nowhere, so the page must not be either."""
    context |= link_to_show(request, address) | {"flock": flock, "here": "more"}
    return render(request, "people/link.html", context)


# My flocks and my account


@require_safe
def flock_list(request):
    memberships = (
        Membership.objects.filter(keeper=request.user)
        .select_related("flock")
        .order_by("flock__name")
    )
    return render(request, "flocks.html", {"memberships": memberships})


def flock_new(request):
    form = NewFlockForm(request.POST or None)
    if form.is_valid():
        return _enter(request, services.start_flock(owner=request.user, **form.cleaned_data))
    return render(request, "people/flock_new.html", {"form": form})


@flock_view(Role.VIEWER)
def flock_open(request, flock):
    return _enter(request, flock)


def account(request):
    form = KeeperNameForm(request.POST or None, instance=Keeper.objects.get(pk=request.user.pk))
    if form.is_valid():
        services.rename_keeper(keeper=form.instance, name=form.cleaned_data["name"])
        messages.success(request, f"Saved: your name is {form.instance.name}.")
        return redirect("people:account")
    return render(request, "people/account.html", {"form": form})


def password(request):
    form = ChangePasswordForm(request.POST or None, keeper=request.user)
    if form.is_valid():
        services.change_password(keeper=request.user, password=form.cleaned_data["password"])
        update_session_auth_hash(request, request.user)
        messages.success(
            request, "Your password is changed. Your other phones will ask for the new one."
        )
        return redirect("people:account")
    return render(request, "people/password.html", {"form": form})


@require_POST
def sign_out_everywhere(request):
    services.end_sessions(keeper=request.user)
    logout(request)
    messages.success(request, "You are signed out everywhere.")
    return redirect("people:sign_in")


# A flock and its people


@require_safe
@flock_view()
def more(request, flock):
    return render(request, "more.html", {"flock": flock, "here": "more"})


@flock_view(Role.OWNER, read=Role.OWNER)
def flock_settings(request, flock):
    form = FlockSettingsForm(request.POST or None, instance=Flock.objects.get(pk=flock.pk))
    if form.is_valid():
        services.change_flock(flock=form.instance, by=request.user, basis=form.basis)
        messages.success(request, f"Saved: the settings of {form.instance}.")
        return redirect("people:more", flock.pk)
    return render(request, "people/settings.html", {"flock": flock, "here": "more", "form": form})


@flock_view(Role.OWNER)
@never_cache
def people(request, flock):
    """Everybody sees who belongs; an owner also sees the open invitations, and invites."""
    form = RoleForm(request.POST or None)
    if form.is_valid():
        invitation, token = services.invite(
            flock=flock, role=form.cleaned_data["role"], by=request.user
        )
        return _show_link(
            request,
            flock,
            reverse("people:join", args=[token]),
            invitation=invitation,
            may=Role(invitation.role).may,
        )
    invitations = Invitation.objects.none()
    if request.membership.can(Role.OWNER):
        invitations = (
            flock.invitation_set.open(now=timezone.now())
            .select_related("made_by")
            .order_by("expires_at")
        )
    return render(
        request,
        "people/people.html",
        {
            "flock": flock,
            "here": "more",
            "members": flock.membership_set.select_related("keeper").order_by("joined_at"),
            "invitations": invitations,
            "form": form,
        },
    )


@require_POST
@flock_view(Role.OWNER)
def invitation_withdraw(request, flock, invitation_id):
    invitation = get_object_or_404(flock.invitation_set, pk=invitation_id)
    services.withdraw_invitation(invitation=invitation, by=request.user)
    messages.success(request, "The invitation is cancelled. Its link no longer works.")
    return redirect("people:people", flock.pk)


def _member_or_404(flock, membership_id) -> Membership:
    return get_object_or_404(flock.membership_set.select_related("keeper"), pk=membership_id)


@flock_view(Role.OWNER, read=Role.OWNER)
def member(request, flock, membership_id):
    membership = _member_or_404(flock, membership_id)
    form = RoleForm(request.POST or None, membership=membership)
    if form.is_valid():
        try:
            services.change_role(
                membership=membership,
                role=form.cleaned_data["role"],
                by=request.user,
                basis=form.basis,
            )
        except ValidationError as error:
            form.add_error("role", error)
        else:
            messages.success(request, f"{membership.keeper}: {membership.get_role_display()}.")
            return redirect("people:people", flock.pk)
    return render(
        request,
        "people/member.html",
        {"flock": flock, "here": "more", "member": membership, "form": form},
    )


@require_POST
@flock_view(Role.OWNER)
@never_cache
def password_link(request, flock, membership_id):
    membership = _member_or_404(flock, membership_id)
    try:
        token = services.make_password_link(keeper=membership.keeper, by=request.user)
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
        return redirect("people:member", flock.pk, membership.pk)
    return _show_link(
        request,
        flock,
        reverse("people:new_password", args=[token]),
        keeper=membership.keeper,
        hours=services.PASSWORD_LINK_HOURS,
    )


@flock_view(Role.OWNER, read=Role.OWNER)
def member_remove(request, flock, membership_id):
    return _remove(request, flock, _member_or_404(flock, membership_id))


@flock_view(Role.VIEWER)
def leave(request, flock):
    return _remove(request, flock, request.membership)


def _remove(request, flock, membership):
    """Ask once, then end the membership."""
    own = membership.keeper_id == request.user.pk
    if request.method == "POST":
        try:
            services.remove_keeper(membership=membership, by=request.user)
        except ValidationError as error:
            messages.error(request, " ".join(error.messages))
            return redirect("people:people", flock.pk)
        if own:
            messages.success(request, f"You have left {flock}.")
            return redirect("people:flocks")
        messages.success(request, f"{membership.keeper} no longer belongs to {flock}.")
        return redirect("people:people", flock.pk)
    return render(
        request,
        "people/remove.html",
        {
            "flock": flock,
            "here": "more",
            "member": membership,
            "own": own,
            "only_owner": own and flock in owned_alone(request.user),
        },
    )

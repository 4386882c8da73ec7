"""Guessing passwords gets slow; a keeper gets in."""

from datetime import timedelta

import pytest
from django.db.models import F
from django.test import Client

from flockcare.core.visitors import network_of
from flockcare.people import attempts, devices, services
from flockcare.people.attempts import FREE, LONGEST_WAIT, MANY, Place
from flockcare.people.models import Keeper, SignInAttempt
from tests.conftest import PASSWORD

pytestmark = pytest.mark.django_db
WRONG = "another one 12"
NEW = "rain on the roof 8"


def sign_in(client, name="owner", password=PASSWORD, **more):
    return client.post("/sign-in/", {"sign_in_name": name, "password": password}, **more)


def at(address) -> Client:
    return Client(REMOTE_ADDR=address)


def guess(times: int, *, client=None, name="owner"):
    for _ in range(times):
        page = sign_in(client or Client(), name=name, password=WRONG)
    return page


def from_everywhere(count: int, name="owner") -> None:
    """As many wrong ones for a name, each from a network of its own."""
    SignInAttempt.objects.bulk_create(
        SignInAttempt(name=attempts._hash(name), address=f"{number}", at=attempts.timezone.now())
        for number in range(count)
    )


def pass_time(time: timedelta) -> None:
    SignInAttempt.objects.update(at=F("at") - time)


def waits(page) -> bool:
    return "Too many wrong passwords" in page.text


def is_in(response) -> bool:
    return response.status_code == 302


# One place


def test_after_too_many_wrong_ones_even_the_right_one_waits_and_then_gets_in(cast):
    assert not waits(guess(FREE))
    page = sign_in(Client())
    assert waits(page) and "Wait 5 seconds" in page.text
    pass_time(timedelta(seconds=6))
    assert is_in(sign_in(Client()))


def test_the_wait_grows_and_has_an_end(cast):
    guess(FREE)
    place, told = Place("127.0.0.1", known=False), []
    for _ in range(12):
        told.append(attempts.wait(name="owner", place=place))
        pass_time(told[-1])
        assert not attempts.wait(name="owner", place=place)
    assert [round(wait.total_seconds()) for wait in told[:7]] == [5, 10, 20, 40, 80, 160, 320]
    assert timedelta(0) <= LONGEST_WAIT - max(told) < timedelta(seconds=1)
    made = SignInAttempt.objects.count()
    assert made < 30, "in more than an hour"


def test_impatience_does_not_make_it_longer(cast):
    guess(FREE)
    for _ in range(20):
        assert waits(sign_in(Client()))
    assert SignInAttempt.objects.count() == FREE
    pass_time(timedelta(seconds=6))
    assert is_in(sign_in(Client()))


def test_one_place_cannot_go_from_name_to_name(cast):
    for number in range(FREE):
        assert not waits(sign_in(Client(), name=f"nobody{number}", password=WRONG))
    assert waits(sign_in(Client(), name="keeper", password=WRONG))
    assert not waits(sign_in(at("192.0.2.7"), name="keeper", password=WRONG))


def test_ones_own_right_password_does_not_wipe_out_guesses_at_others(cast):
    for _ in range(3):
        guess(FREE // 3 + 1)
        assert is_in(sign_in(Client(), name="keeper")) or waits(sign_in(Client(), name="keeper"))
    assert waits(sign_in(Client(), password=WRONG))


def test_an_hour_later_it_is_forgotten(cast):
    guess(FREE)
    pass_time(attempts.WINDOW)
    assert not waits(guess(FREE))


def test_many_at_one_moment_are_not_each_taken_for_the_first(cast, monkeypatch):
    """All of them are written before any of them counts."""
    real = SignInAttempt.objects.create
    more = iter(range(3))

    def create(**values):
        own = real(**values)
        if next(more, None) is not None:
            from_here = [SignInAttempt(**values) for _ in range(FREE)]
            SignInAttempt.objects.bulk_create(from_here)
        return own

    monkeypatch.setattr(SignInAttempt.objects, "create", create)
    assert waits(sign_in(Client()))


def test_a_clock_that_was_set_back_closes_nothing_for_ever(cast):
    guess(FREE)
    pass_time(-timedelta(minutes=30))
    page = sign_in(Client())
    assert "Wait 5 seconds" in page.text
    pass_time(-timedelta(days=3))
    assert is_in(sign_in(Client()))


# Everywhere


def test_a_hundred_strangers_hold_nobody_up(cast):
    for number in range(105):
        sign_in(at(f"198.51.{number}.1"), password=WRONG)
    assert is_in(sign_in(at("203.0.113.1")))


def test_very_many_make_a_new_place_wait_a_little_and_then_it_gets_in(cast):
    from_everywhere(MANY)
    page = sign_in(at("203.0.113.1"))
    assert "Wait 1 minute," in page.text
    pass_time(timedelta(seconds=61))
    assert is_in(sign_in(at("203.0.113.1")))


def test_however_many_there_are_the_wait_has_an_end(cast):
    from_everywhere(30 * MANY)
    assert "Wait 10 minutes" in sign_in(at("203.0.113.1")).text
    pass_time(LONGEST_WAIT)
    assert is_in(sign_in(at("203.0.113.1")))


def test_other_names_are_not_held_up_from_a_new_place(cast):
    from_everywhere(MANY)
    assert is_in(sign_in(at("203.0.113.1"), name="keeper"))


# Known devices


@pytest.fixture
def phone(cast) -> Client:
    """One on which the owner has signed in before."""
    client = Client()
    assert is_in(sign_in(client))
    client.post("/sign-out/")
    return client


def test_a_known_device_is_not_held_up_by_others(cast, phone):
    guess(FREE)
    from_everywhere(10 * MANY)
    assert waits(sign_in(Client()))
    assert is_in(sign_in(phone))


def test_a_device_is_known_for_its_own_keeper_only(cast, phone):
    guess(FREE, name="keeper")
    assert waits(sign_in(phone, name="keeper"))


def test_a_tablet_is_known_for_each_of_its_keepers(cast, phone):
    assert is_in(sign_in(phone, name="keeper"))
    phone.post("/sign-out/")
    guess(FREE)
    for name in ("owner", "keeper"):
        assert is_in(sign_in(phone, name=name))
        phone.post("/sign-out/")


def test_guesses_from_a_known_device_wait_too_wherever_it_is(cast, phone):
    for number in range(FREE):
        sign_in(phone, password=WRONG, REMOTE_ADDR=f"198.51.100.{number}")
    assert waits(sign_in(phone, REMOTE_ADDR="203.0.113.9"))


@pytest.mark.parametrize("spoil", [str.swapcase, lambda said: said.replace(".", ".x", 1)])
def test_a_cookie_that_was_made_up_is_worth_nothing(cast, phone, spoil):
    guess(FREE)
    phone.cookies[devices.COOKIE] = spoil(phone.cookies[devices.COOKIE].value)
    assert waits(sign_in(phone))


def test_a_cookie_of_another_kind_is_worth_nothing(cast, phone):
    guess(FREE)
    phone.cookies[devices.COOKIE] = phone.cookies["flockcare_session"].value or "x"
    assert waits(sign_in(phone))


def test_signing_out_everywhere_ends_it(cast, phone):
    guess(FREE)
    services.end_sessions(keeper=cast.owner)
    assert waits(sign_in(phone))


def test_the_cookie_opens_nothing_and_names_nobody(cast, phone):
    cookie = phone.cookies[devices.COOKIE]
    assert cookie["httponly"] and cookie["samesite"] == "Lax" and not cookie["secure"]
    for private in ("owner", cast.owner.pk.hex, str(cast.owner.pk), cast.owner.session_salt.hex):
        assert private not in cookie.value.lower()
    other = Client()
    other.cookies[devices.COOKIE] = cookie.value
    assert other.get("/account/").status_code == 302


def test_over_https_the_cookie_stays_there(cast, settings):
    settings.SESSION_COOKIE_SECURE = True
    client = Client()
    sign_in(client)
    assert client.cookies[devices.COOKIE]["secure"]


def test_a_device_is_still_known_when_its_session_has_run_out(cast, phone, settings):
    kept = phone.cookies[devices.COOKIE]["max-age"]
    assert kept > settings.SESSION_COOKIE_AGE
    assert kept <= 400 * 24 * 3600, "browsers keep none longer (RFC 6265bis, from memory)"


@pytest.mark.parametrize("way", ["set up", "invitation", "password link"])
def test_every_way_in_makes_a_device_known(cast, way, client):
    password = {"password": NEW, "password_again": NEW}
    if way == "set up":
        Keeper.objects.all().delete()
        sent = {"name": "Una", "sign_in_name": "una", **password}
        keeper = {f"keeper-{name}": value for name, value in sent.items()}
        flock = {"flock-name": "Own", "flock-time_zone": "UTC", "flock-units": "metric"}
        answer = client.post("/set-up/", {**keeper, **flock})
    elif way == "invitation":
        _, token = services.invite(flock=cast.flock, role="viewer", by=cast.owner)
        answer = client.post(f"/join/{token}/", {"name": "Una", "sign_in_name": "una", **password})
    else:
        token = services.make_password_link(keeper=cast.keeper, by=cast.owner)
        answer = client.post(f"/new-password/{token}/", password)
    assert is_in(answer)
    assert devices.COOKIE in client.cookies


# Networks


@pytest.mark.parametrize(
    ("address", "network"),
    [
        ("192.0.2.7", "192.0.2.7"),
        ("2001:db8:1:2::7", "2001:db8:1:2::/64"),
        ("2001:0DB8:0001:0002:ffff:ffff:ffff:ffff", "2001:db8:1:2::/64"),
        ("2001:db8:1:3::7", "2001:db8:1:3::/64"),
        ("fe80::1%eth0", "fe80::/64"),
        ("::ffff:192.0.2.7", "192.0.2.7"),
        ("unknown", "unknown"),
        ("", ""),
    ],
)
def test_an_address_counts_by_its_network(address, network):
    assert network_of(address) == network


@pytest.mark.parametrize("proxy", [False, True])
def test_addresses_of_one_ipv6_network_count_together(cast, settings, proxy):
    settings.BEHIND_PROXY = proxy

    def ask(number, **more):
        address = f"2001:db8:{number}"
        return sign_in(
            at("127.0.0.1" if proxy else address),
            headers={"x-forwarded-for": f"192.0.2.1, {address}"},
            **more,
        )

    for number in range(FREE):
        ask(f"1:2::{number}", password=WRONG)
    assert waits(ask("1:2::ffff"))
    assert is_in(ask("1:3::1"))


def test_nothing_of_what_was_typed_is_kept(cast):
    guess(1, name="hunter2")
    kept = SignInAttempt.objects.get()
    assert "hunter2" not in str(vars(kept)) and "127.0.0.1" not in str(vars(kept))

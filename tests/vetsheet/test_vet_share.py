"""Links for the vet: what they open and what not, when they end, and what they never tell."""

import io
import logging
import re
from datetime import date, timedelta

import pypdf
import pytest
import segno
import zxingcpp
from django.test import Client
from django.utils import timezone
from PIL import Image

from flockcare.birds.models import Bird
from flockcare.drawing.dates import date_words
from flockcare.people import services
from flockcare.people.logs import HideTokens
from flockcare.people.models import Byline, Membership, Revision, Role
from flockcare.photos.models import Photo
from flockcare.vetsheet.models import ShareLink, ShareOpening
from tests.conftest import client_of
from tests.people.rows import NOT_WRITERS, refused, same_queries
from tests.vetsheet.vet_rows import at, full_bird, look, many_records, other_bird, photo, step

TODAY = date(2026, 8, 25)
PERIOD = {"period": "own", "first": "2026-02-01", "last": "2026-08-25"}


@pytest.fixture(autouse=True)
def _today(monkeypatch):
    """As on a day of 2026, whenever this runs; how long a link lives goes by the true clock."""
    real = timezone.localdate
    monkeypatch.setattr(
        timezone, "localdate", lambda value=None, zone=None: real(value, zone) if value else TODAY
    )


@pytest.fixture
def bird(cast):
    return full_bird(cast.flock, cast.owner, cast.keeper)


def shown_link(response) -> str:
    return re.search(r'readonly value="http://testserver([^"]+)"', response.text)[1]


def make(client, bird, **given) -> str:
    """The path of a new link."""
    address = f"/f/{bird.flock_id}/birds/{bird.pk}/vet/share/"
    return shown_link(client.post(address, {**PERIOD, "days": "30", **given}))


@pytest.fixture
def link(cast, bird):
    return make(cast.clients.keeper, bird)


def assert_gone(response):
    assert response.status_code == 410
    assert "no longer works" in response.text
    assert_kept_by_nobody(response)


def assert_kept_by_nobody(response):
    assert response.headers["X-Robots-Tag"] == "noindex"
    assert response.headers["Referrer-Policy"] == "strict-origin"
    assert {"private", "no-store"} <= set(response.headers["Cache-Control"].split(", "))


# --- Handing out


def test_link_is_shown_once_as_text_and_as_a_code(cast, bird, tmp_path):
    address = f"/f/{cast.flock.pk}/birds/{bird.pk}/vet/share/"
    page = cast.clients.keeper.post(address, {**PERIOD, "days": "7"})
    path = shown_link(page)
    assert "no-store" in page.headers["Cache-Control"] and "it is not shown again" in page.text
    token = path.split("/")[2]
    kept = ShareLink.objects.get()
    assert kept.token_hash != token and token not in str(vars(kept))
    assert (kept.first, kept.last, kept.nameless) == (date(2026, 2, 1), date(2026, 8, 25), False)
    assert kept.expires_at - timezone.now() < timedelta(days=7)
    for other in (f"/f/{cast.flock.pk}/vet/", f"/f/{cast.flock.pk}/birds/{bird.pk}/vet/"):
        assert token not in cast.clients.keeper.get(other).text
    # The code, read by a reader of ISO/IEC 18004 that had no part in drawing it.
    drawn = re.search(r'class="qrline" stroke="#000" d="([^"]+)"', page.text)[1]
    code = segno.make("http://testserver" + path, micro=False, error="m")
    assert f'd="{drawn}"' in code.svg_inline(border=4)
    code.save(tmp_path / "code.png", scale=6, border=4)
    read = zxingcpp.read_barcodes(Image.open(tmp_path / "code.png"))[0].text
    assert read == "http://testserver" + path


def test_who_may_make_links(cast, bird):
    address = f"/f/{cast.flock.pk}/birds/{bird.pk}/vet/share/"
    assert refused(cast, address, {**PERIOD, "days": "30"}) == NOT_WRITERS
    assert not ShareLink.objects.exists()
    for client in (cast.clients.owner, cast.clients.keeper):
        make(client, bird)
    assert ShareLink.objects.count() == 2


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"days": "365"}, "Choose one of these times."),
        ({"days": ""}, "Say how long the link should work."),
        ({"days": "30", "first": "2026-09-01"}, "This is after the day it ends."),
    ],
)
def test_a_wrong_wish_makes_no_link(cast, bird, given, words):
    address = f"/f/{cast.flock.pk}/birds/{bird.pk}/vet/share/"
    page = cast.clients.owner.post(address, {**PERIOD, **given})
    assert page.status_code == 422 and words in page.text
    assert not ShareLink.objects.exists()


def test_thirty_days_unless_chosen_otherwise(cast, bird):
    page = cast.clients.owner.get(f"/f/{cast.flock.pk}/birds/{bird.pk}/vet/").text
    assert re.search(r'<input type="radio" name="days" value="30"[^>]* checked', page)
    assert re.findall(r'name="days" value="(\d+)"', page) == ["7", "30", "90"]


def test_the_question_stays_with_the_link_and_its_day(cast, bird):
    link = make(cast.clients.keeper, bird, question="Is it bone? Ted asks.", nameless="on")
    kept = ShareLink.objects.get()
    assert kept.question == "Is it bone? Ted asks."
    on = date_words(timezone.localdate(kept.created_at))
    page = " ".join(Client().get(link).text.split())
    assert f"Question to the vet, {on}</dt><dd>“Is it bone? Ted asks.”" in page
    too_long = {**PERIOD, "days": "30", "question": "x" * 1001}
    address = f"/f/{cast.flock.pk}/birds/{bird.pk}/vet/share/"
    answer = cast.clients.keeper.post(address, too_long)
    assert answer.status_code == 422 and "x" * 1001 in answer.text
    assert ShareLink.objects.count() == 1


def test_the_pdf_and_the_form_of_the_link_have_the_question_that_was_shown(cast, bird):
    address = f"/f/{cast.flock.pk}/birds/{bird.pk}/vet/"
    page = cast.clients.keeper.get(address, {"period": "12", "question": "Is it bone?"}).text
    assert "sheet.pdf?period=12&amp;question=Is+it+bone%3F&amp;paper=a4" in page
    assert page.count('name="question"') == 2
    assert 'id="id_question"' in page and 'id="link_question"' in page
    assert re.search(r'<textarea name="question"[^>]*>\s*Is it bone\?</textarea>', page)


def test_the_names_of_the_rows_stay_beside_the_timeline(link):
    """In a drawing of their own, which the rest is moved along below."""
    page = Client().get(link).text
    names = re.search(r'<svg class="vet-names".*?</svg>', page, re.DOTALL)[0]
    rest = re.search(r'<svg class="vet-drawing".*?</svg>', page, re.DOTALL)[0]
    for name in ("Left foot", "Right foot", "Weight"):
        assert f">{name}</text>" in names and f">{name}</text>" not in rest


# --- Looking


def test_opens_without_signing_in_and_changes_nothing(link, bird):
    page = Client().get(link)
    assert page.status_code == 200
    assert "Vet sheet: Łopian" in page.text and "by Keeper" in page.text
    assert "<form" not in page.text and "<script" not in page.text
    assert_kept_by_nobody(page)
    assert '<meta name="robots" content="noindex">' in page.text
    for method in ("post", "put", "patch", "delete"):
        assert getattr(Client(), method)(link).status_code == 405


def test_every_address_on_the_page_belongs_to_the_link(link):
    page = Client().get(link).text
    addresses = set(re.findall(r'(?:href|src)="([^"]+)"', page))
    assert addresses
    for address in addresses:
        assert address.startswith((link, "/static/")), address
        assert address.startswith("/static/") or Client().get(address).status_code == 200, address


def test_pdf_behind_the_link(link):
    answer = Client().get(f"{link}sheet.pdf?paper=letter")
    assert answer.headers["Content-Type"] == "application/pdf"
    assert_kept_by_nobody(answer)
    assert "Łopian" in pypdf.PdfReader(io.BytesIO(answer.content)).pages[0].extract_text()


def test_photos_of_this_bird_and_period_only(cast, bird, link):
    inside = Photo.objects.get(bird=bird, foot="left")
    address = f"{link}photos/{{}}/{{}}.jpg"
    answer = Client().get(address.format(inside.pk, 800))
    assert answer.status_code == 200 and answer.headers["Content-Type"] == "image/jpeg"
    assert_kept_by_nobody(answer)
    photo_of = {
        "another bird": photo(other_bird(cast.flock), at(3, 2), seed=60),
        "before the period": photo(bird, at(1, 20), seed=61),
        "after the period": photo(bird, at(8, 27), seed=62),
        "without a date": photo(bird, None, seed=63, taken_precision="unknown"),
        "of nobody yet": photo(bird, at(3, 2), seed=64),
        "deleted": photo(bird, at(3, 2), seed=65),
        "of another flock": photo(
            Bird.objects.create(flock=cast.elsewhere, name="Far"), at(3, 2), seed=66
        ),
    }
    Photo.objects.filter(pk=photo_of["of nobody yet"].pk).update(bird=None)
    Photo.objects.filter(pk=photo_of["deleted"].pk).update(deleted_at=timezone.now())
    for what, one in photo_of.items():
        refused_ = Client().get(address.format(one.pk, 800))
        assert refused_.status_code == 404, what
        assert_kept_by_nobody(refused_)
    # Neither the untouched original nor a size that there is not.
    for size in ("full", "4000", "0"):
        assert Client().get(address.format(inside.pk, size)).status_code == 404


def test_photo_data_holds_no_words(bird, link):
    """Neither Exif nor a comment: nothing but the picture."""
    inside = Photo.objects.get(bird=bird, foot="left")
    data = b"".join(Client().get(f"{link}photos/{inside.pk}/1600.jpg").streaming_content)
    image = Image.open(io.BytesIO(data))
    assert not image.getexif() and "comment" not in image.info


def test_of_all_time_also_photos_without_a_date(cast, bird):
    link = make(cast.clients.owner, bird, period="all")
    undated = photo(bird, None, seed=70, taken_precision="unknown")
    assert Client().get(f"{link}photos/{undated.pk}/240.jpg").status_code == 200


# --- Nothing of others


def everything_shown(link) -> str:
    """The page, its headers, and the PDF's words, annotations and properties; without the key in
    the link, whose chance letters may spell a short name.
    """
    page, file = Client().get(link), Client().get(f"{link}sheet.pdf")
    reader = pypdf.PdfReader(io.BytesIO(file.content))
    words = [page.text, str(page.headers), str(file.headers), str(reader.metadata)]
    words += [one.extract_text() for one in reader.pages]
    key = link.rstrip("/").rsplit("/", 1)[1]
    assert len(key) > 20
    return "\n".join(words).replace(key, "")


def test_nothing_of_other_birds(cast, bird, link):
    other_bird(cast.flock)
    many_records(other_bird(cast.elsewhere), years=1)
    shown = everything_shown(link)
    assert "Łopian" in shown
    for words in ("Marjoram", "stray", "Elsewhere", "product 1"):
        assert words not in shown


def test_nothing_from_outside_of_the_period(cast, bird):
    link = make(cast.clients.owner, bird, first="2026-07-10", last="2026-08-25")
    shown = everything_shown(link)
    assert "warm water" not in shown and "Barn" not in shown and "1 Mar 2026" not in shown
    assert "Tablets from the vet" in shown


def test_without_names_no_keeper_is_named_anywhere(cast, bird):
    """Also not in notes, the house, the product, the flock's name or in small letters."""
    cast.keeper.name = "Jürgen van Dille"
    cast.keeper.save()
    cast.owner.name = "Ros"
    cast.owner.save()
    cast.viewer.name = "Łukasz"
    cast.viewer.save()
    cast.flock.name = "Ros’s hens"
    cast.flock.save()
    look(bird, at(8, 5), by=cast.owner, note="jürgen held her, VAN DILLE’s towel, łukasz came")
    look(bird, at(8, 6), keeper_name="Grandma Ines", note="ROS said: ask Ines")
    step(bird, at(8, 7), "ointment", product="salve from Ros", keeper_name="Grandma Ines")
    photo(bird, at(8, 8), seed=80, note="Ros took this", by=cast.owner)
    named = everything_shown(make(cast.clients.owner, bird))
    for name in ("Ros", "Jürgen", "Ines", "łukasz"):
        assert name in named
    hidden = everything_shown(make(cast.clients.owner, bird, nameless="on"))
    for name in ("ros", "jürgen", "dille", "ines", "grandma", "łukasz", "owner"):
        found = re.search(rf"(?<!\w){name}(?!\w)", hidden, re.IGNORECASE)
        assert not found, hidden[found.start() - 60 : found.end() + 60]
    assert "Łopian" in hidden and "“salve from Keeper A”" in hidden and "Top roost" in hidden


def test_without_names_those_who_left_for_good_are_hidden_too(cast, bird):
    """Their account is gone and their name is kept with what they did, also with other birds."""
    Byline.objects.create(flock=cast.flock, record=bird.pk, field="keeper", name="Uncle Ted")
    look(bird, at(8, 5), note="as uncle Ted always did, and Ted’s way")
    assert "Ted" in everything_shown(make(cast.clients.owner, bird))
    hidden = everything_shown(make(cast.clients.owner, bird, nameless="on"))
    assert not re.search(r"\bTed\b", hidden) and "as Keeper D always did" in hidden


def test_without_names_former_members_are_hidden_in_what_was_typed(cast, bird):
    """Also who never recorded anything of hers, keeps hens elsewhere now, or is no keeper here."""
    gone = services.add_keeper(name="Bertil", sign_in_name="bertil", password="straw and oats 7")
    place = Membership.objects.create(flock=cast.flock, keeper=gone, role=Role.VIEWER)
    services.remove_keeper(membership=place, by=cast.owner)
    sage = Bird.objects.create(flock=cast.flock, name="Sage")
    look(sage, at(8, 4), keeper_name="Grandma Ines")
    step(sage, at(8, 4), "soaked", keeper_name="Uncle Ted")
    look(bird, at(8, 5), note="Bertil showed her to Ines, Ted soaked her, Stranger came by")
    Bird.objects.filter(pk=bird.pk).update(band_number="Ted 1")
    bird.breed.source = "weighed by Ines"
    bird.breed.save()
    named = everything_shown(make(cast.clients.owner, bird))
    hidden = everything_shown(make(cast.clients.owner, bird, nameless="on"))
    for name in ("Bertil", "Ines", "Ted"):
        assert name in named
        assert name not in hidden
    # Whoever never kept this flock is nobody whom the keepers promised to hide.
    assert "Stranger came by" in hidden


def test_each_keeper_keeps_one_letter_in_page_and_pdf(cast, bird):
    link = make(cast.clients.owner, bird, nameless="on")
    page = Client().get(link).text
    file = pypdf.PdfReader(io.BytesIO(Client().get(f"{link}sheet.pdf").content))
    paper = " ".join(" ".join(one.extract_text() for one in file.pages).split())
    # Owner came first, so is Keeper A; what each did is told of the same letter in both.
    for words in (
        "1 Mar 2026, by Keeper A",
        "2–4, 9 Mar 2026, by Keeper B",
        "given until 9 Aug 2026, by Keeper A",
    ):
        assert words in page and words in paper, words


def test_new_members_do_not_move_the_letters(cast, bird):
    link = make(cast.clients.owner, bird, nameless="on")
    before = Client().get(link).text
    late = services.add_keeper(name="Aaron", sign_in_name="aaron", password="straw and oats 7")
    Membership.objects.create(flock=cast.flock, keeper=late, role=Role.KEEPER)
    assert Client().get(link).text == before


# --- When it ends


def every_way(link, bird):
    key = Photo.objects.get(bird=bird, foot="left").pk
    paths = [link, f"{link}sheet.pdf", f"{link}photos/{key}/240.jpg"]
    return [Client().get(path) for path in paths]


def test_time_runs_out(bird, link):
    ShareLink.objects.update(expires_at=timezone.now() - timedelta(seconds=1))
    for answer in every_way(link, bird):
        assert_gone(answer)


def test_ended_by_its_maker_and_kept_in_the_history(cast, bird, link):
    kept = ShareLink.objects.get()
    address = f"/f/{cast.flock.pk}/vet/links/{kept.pk}/revoke/"
    assert cast.clients.keeper.post(address).status_code == 302
    for answer in every_way(link, bird):
        assert_gone(answer)
    assert Revision.objects.filter(record=kept.pk).exists()
    page = cast.clients.keeper.get(f"/f/{cast.flock.pk}/vet/").text
    assert "Turned off on" in page and address not in page


def test_ended_by_an_owner_but_by_no_other_keeper(cast, bird, link):
    kept = ShareLink.objects.get()
    address = f"/f/{cast.flock.pk}/vet/links/{kept.pk}/revoke/"
    second = services.add_keeper(name="Una", sign_in_name="una", password="straw and oats 7")
    Membership.objects.create(flock=cast.flock, keeper=second, role=Role.KEEPER)
    other = client_of(second)
    assert address not in other.get(f"/f/{cast.flock.pk}/vet/").text
    assert other.post(address).status_code == 403
    assert refused(cast, address) == NOT_WRITERS
    assert Client().get(link).status_code == 200
    assert cast.clients.owner.post(address).status_code == 302
    assert_gone(Client().get(link))


def test_ends_with_its_makers_place_in_the_flock(cast, bird, link):
    place = Membership.objects.get(flock=cast.flock, keeper=cast.keeper)
    services.remove_keeper(membership=place, by=cast.owner)
    for answer in every_way(link, bird):
        assert_gone(answer)
    # Coming back does not bring it back.
    Membership.objects.create(flock=cast.flock, keeper=cast.keeper, role=Role.KEEPER)
    assert_gone(Client().get(link))


def test_ends_with_the_bird(cast, bird, link):
    key = Photo.objects.get(bird=bird, foot="left").pk
    bird.delete()
    for path in (link, f"{link}sheet.pdf", f"{link}photos/{key}/240.jpg"):
        assert_gone(Client().get(path))
    assert cast.clients.owner.get(f"/f/{cast.flock.pk}/vet/").status_code == 200


def test_ends_with_the_flock(cast, bird, link):
    Bird.objects.filter(flock=cast.flock).delete()
    cast.flock.delete()
    assert not ShareLink.objects.exists()
    assert_gone(Client().get(link))


def test_ends_after_so_many_openings(bird, link):
    ShareLink.objects.update(uses_left=2)
    assert Client().get(link).status_code == 200
    assert Client().get(f"{link}sheet.pdf").status_code == 200
    for answer in every_way(link, bird):
        assert_gone(answer)
    assert ShareOpening.objects.count() == 2


def test_never_made(db):
    assert_gone(Client().get("/vet/nothing-of-ours/"))


def test_both_ends_are_said_where_links_are_made(cast, bird):
    for path in (f"birds/{bird.pk}/vet/", "vet/"):
        page = " ".join(cast.clients.owner.get(f"/f/{cast.flock.pk}/{path}").text.split())
        assert "leaves the flock" in page and "bird is deleted" in page


# --- The log


def test_openings_are_counted_and_dated_and_nothing_else_is_kept(cast, bird, link):
    for path in (link, link, f"{link}sheet.pdf"):
        Client().get(path, REMOTE_ADDR="203.0.113.9", HTTP_USER_AGENT="somebody’s phone")
    assert Client().head(link).status_code == 405
    one = Photo.objects.get(bird=bird, foot="left")
    Client().get(f"{link}photos/{one.pk}/240.jpg")
    assert [each.what for each in ShareOpening.objects.order_by("at")] == ["page", "page", "pdf"]
    fields = {field.name for field in ShareOpening._meta.get_fields()}
    assert fields == {"id", "link", "at", "what"}
    page = " ".join(cast.clients.viewer.get(f"/f/{cast.flock.pk}/vet/").text.split())
    assert "Opened 3 times" in page and page.count(", the page") == 2 and ", the PDF" in page
    page = cast.clients.owner.get(f"/f/{cast.flock.pk}/birds/{bird.pk}/vet/").text
    assert "Opened 3 times" in " ".join(page.split())


def test_many_openings_are_shown_short(cast, bird, link):
    kept = ShareLink.objects.get()
    ShareOpening.objects.bulk_create(ShareOpening(link=kept, what="page") for _ in range(25))
    page = " ".join(cast.clients.owner.get(f"/f/{cast.flock.pk}/vet/").text.split())
    assert "Opened 25 times" in page and page.count(", the page") == 10 and "and 15 before" in page


def test_links_page_asks_the_same_for_many(cast, bird):
    make(cast.clients.owner, bird)
    same_queries(
        cast.clients.owner,
        f"/f/{cast.flock.pk}/vet/",
        grow=lambda: [make(cast.clients.owner, bird) for _ in range(19)],
    )


def test_shared_page_asks_the_same_for_many(cast, bird):
    link = make(cast.clients.owner, bird, nameless="on", period="all")
    same_queries(Client(), link, grow=lambda: many_records(bird, years=1, photos=20))


def test_the_token_stays_out_of_the_log(link):
    asked = f"GET {link}sheet.pdf HTTP/1.1"
    record = logging.LogRecord("django.server", logging.INFO, "", 0, "%s", (asked,), None)
    HideTokens().filter(record)
    assert record.getMessage() == "GET /vet/…/sheet.pdf HTTP/1.1"

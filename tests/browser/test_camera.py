"""The camera of the page's own: several photos of a foot in a row, with the card in view."""

from datetime import UTC, datetime, timedelta

import pytest
from PIL import Image

from flockcare.photos.cards import render_card
from tests.browser.conftest import LAPTOP, PHONE, chromium
from tests.browser.line import Line
from tests.browser.taps import until
from tests.browser.test_accessibility import problems
from tests.browser.test_offline import (
    all_sent,
    check_page,
    checks,
    new_checks,
    rows,
    signal,
)

SIZE = (1280, 960)
ASKED = (
    "SELECT p.foot, p.taken, p.taken_precision, p.taken_source, p.width, p.height "
    "FROM photos_photo p JOIN feet_check_photos c ON c.photo_id = p.id "
    "WHERE c.check_id = ? ORDER BY p.taken, p.foot"
)
HINT = ".camera-hint"


@pytest.fixture(scope="module")
def line(coop):
    with Line(coop.installation.port) as line:
        yield line


@pytest.fixture(scope="module")
def film(coop, tmp_path_factory):
    """What the camera sees: the card of Sorrel. JPEGs one after another are a film (MJPEG)."""
    frame = Image.new("RGB", SIZE, "tan")
    card = render_card(coop.birds["Sorrel"].replace("-", "").upper(), dpi=220)
    frame.paste(card, ((SIZE[0] - card.width) // 2, (SIZE[1] - card.height) // 2))
    path = tmp_path_factory.mktemp("film") / "card.mjpeg"
    with path.open("wb") as file:
        for _ in range(2):
            frame.save(file, "JPEG", quality=95)
    return path


@pytest.fixture(scope="module")
def with_camera(browser, film):
    """A Chromium with a camera, which a page may use where its context has the permission."""
    other = browser.browser_type.launch(
        executable_path=chromium(),
        args=[
            "--no-sandbox",
            "--disable-dev-shm-usage",
            "--disable-gpu",
            "--use-fake-device-for-media-stream",
            f"--use-file-for-fake-video-capture={film}",
            "--host-resolver-rules=MAP coop.test 127.0.0.1",
        ],
    )
    yield other
    other.close()


@pytest.fixture
def phone(coop, line):
    """``phone(browser, permissions=["camera"])`` is a page of a phone, signed in."""
    contexts = []

    def opened(browser, *, at=line.url, **more):
        more = {"viewport": PHONE, "has_touch": True, "service_workers": "block"} | more
        context = browser.new_context(base_url=at, **more)
        contexts.append(context)
        cookie = {"name": "flockcare_session", "value": coop.sessions["una"], "url": at}
        context.add_cookies([cookie])
        page = context.new_page()
        page.set_default_timeout(15_000)
        page.problems = []
        page.on("pageerror", lambda error: page.problems.append(str(error)))
        return page

    yield opened
    line.mend()
    found = [each for context in contexts for page in context.pages for each in page.problems]
    for context in contexts:
        context.close()
    assert not found


def sore_right(page) -> None:
    page.locator(".foot-right .over-0").tap()
    page.locator(".part-right label:has-text('Mild')").tap()


def open_camera(page) -> None:
    page.locator(".part-right .open-camera").tap()
    page.locator("#camera[open]").wait_for()
    page.evaluate(
        "() => { window.track = document.querySelector('#camera video').srcObject.getTracks()[0]; }"
    )


def is_off(page) -> bool:
    return page.evaluate("() => track.readyState") == "ended"


def shoot(page, count) -> None:
    page.locator(".shutter").tap()
    page.locator(f".done:text-is('Done ({count})')").wait_for()


def taken_of(coop, key) -> list[tuple]:
    found = rows(coop, ASKED, key)
    return [
        (*row[:1], datetime.fromisoformat(row[1]).replace(tzinfo=UTC), *row[2:]) for row in found
    ]


def test_two_in_a_row_and_one_of_the_other_foot_go_with_the_check(phone, with_camera, coop, line):
    # Quarter past the hour, so that a clock read as another zone's cannot look right.
    page = phone(with_camera, permissions=["camera"], timezone_id="Asia/Kathmandu")
    before, began = checks(coop), datetime.now(UTC).replace(microsecond=0)
    page.goto(check_page(coop, "Sorrel"))
    sore_right(page)
    open_camera(page)
    assert page.locator("#camera-of").inner_text().split() == ["Sorrel", "Right"]
    page.locator(f"{HINT}:text-is('Card in view')").wait_for()
    assert problems(page) == []
    shoot(page, 1)
    shoot(page, 2)
    page.locator("text=To the left foot").tap()
    shoot(page, 3)
    page.locator(".done").tap()
    until(page, "track.readyState === 'ended'")
    page.locator(".part-right .kept-photos img[src*='240.jpg']").nth(1).wait_for()
    page.locator("button:has-text('Save check')").tap()
    page.wait_for_selector("text=Saved: Sorrel")
    ended = datetime.now(UTC)
    all_sent(page)  # what was not there when the check was saved follows it
    (key,) = new_checks(coop, before)
    taken = taken_of(coop, key)
    assert sorted(foot for foot, *_ in taken) == ["left", "right", "right"]
    for _, moment, *rest in taken:
        assert began <= moment <= ended
        assert rest == ["moment", "camera", *SIZE]
    # The next time the last one lies over the picture, until it is switched off.
    page.goto(check_page(coop, "Sorrel"))
    sore_right(page)
    open_camera(page)
    page.locator(".last-photo.shown image[href*='800.jpg']").wait_for()
    page.locator("#camera button:text-is('Last photo')").tap()
    assert not page.locator(".last-photo").is_visible()
    # The phone's own button to go back closes the camera and leaves the form.
    page.evaluate("() => history.back()")
    until(page, "track.readyState === 'ended'")
    assert page.locator("button:has-text('Save check')").is_visible()
    page.locator(".part-right .open-camera:focus").wait_for()


def test_without_signal_the_photo_is_of_the_moment_it_was_taken(phone, with_camera, coop, line):
    page = phone(with_camera, permissions=["camera"], service_workers="allow")
    code = coop.birds["Mace"].replace("-", "").upper()
    # This Chromium has no reader of codes; phones have.
    reader = """window.BarcodeDetector = class {
      static async getSupportedFormats() { return ["qr_code"]; }
      async detect() { return ["feed", window.seen].map((rawValue) => ({ rawValue })); }
    };"""
    page.add_init_script(f"window.seen = '{code}-L'; {reader}")
    page.goto(f"/f/{coop.flock}/today/")
    until(page, "navigator.serviceWorker.controller !== null")
    before = checks(coop)
    signal(line, page, on=False)
    page.goto(check_page(coop, "Mace"))
    page.wait_for_selector("h1:has-text('Mace')")
    sore_right(page)
    open_camera(page)
    page.locator(f"{HINT}:text-is('The other foot’s card')").wait_for()
    page.locator("text=To the left foot").tap()
    page.locator(f"{HINT}:text-is('Card in view')").wait_for()
    page.locator("text=To the right foot").tap()
    # As cards were printed before.
    page.evaluate("key => { window.seen = `${key}-right`; }", coop.birds["Dill"])
    page.locator(f"{HINT}:text-is('Another bird’s card')").wait_for()
    page.evaluate("key => { window.seen = `${key}-right`; }", coop.birds["Mace"])
    page.locator(f"{HINT}:text-is('Card in view')").wait_for()
    began = datetime.now(UTC).replace(microsecond=0)
    shoot(page, 1)
    # A phone that is put away hides the page: the camera stops, and what was taken is in the form.
    page.evaluate("""() => {
      Object.defineProperty(document, "hidden", { value: true, configurable: true });
      document.dispatchEvent(new Event("visibilitychange"));
      delete document.hidden;
    }""")
    until(page, "track.readyState === 'ended'")
    ended = datetime.now(UTC)
    page.locator("text=will be sent with the check").wait_for()
    page.locator("button:has-text('Save check')").tap()
    page.wait_for_selector("text=Kept on this phone: Mace")
    page.wait_for_timeout(1500)
    signal(line, page, on=True)
    page.reload()
    all_sent(page)
    (key,) = new_checks(coop, before)
    ((foot, moment, precision, source, *size),) = taken_of(coop, key)
    assert (foot, precision, source, tuple(size)) == ("right", "moment", "camera", SIZE)
    assert began <= moment <= ended < datetime.now(UTC) - timedelta(seconds=1)


@pytest.mark.parametrize("why", ["refused", "plain http", "laptop without one"])
def test_otherwise_the_own_camera_or_photos_to_choose(phone, browser, with_camera, coop, line, why):
    if why == "refused":
        page = phone(with_camera)
    elif why == "plain http":
        page = phone(with_camera, at=f"http://coop.test:{coop.installation.port}")
    else:
        page = phone(browser, viewport=LAPTOP, has_touch=False)
    page.goto(check_page(coop, "Dill"))
    page.locator(".part-right label:has-text('Mild')").click()
    field = page.locator(".part-right .photo-field")
    own, choose = (field.locator(f"label[for='id_right-photos{end}']") for end in ("-camera", ""))
    if why == "refused":
        page.locator(".part-right .open-camera").tap()
        field.locator("text=This page may not use the camera").wait_for()
        assert not page.locator("#camera").is_visible()
    assert not field.locator(".open-camera").is_visible()
    assert own.is_visible() == (why != "laptop without one")
    assert choose.inner_text().startswith("Choose photos" if why.startswith("l") else "Gallery")

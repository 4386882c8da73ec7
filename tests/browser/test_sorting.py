"""Photos to sort in a real Chromium: bringing in, sorting by thumb and by key, without script."""

import io
import re
import uuid
from datetime import datetime, timedelta

import numpy as np
import pytest
from PIL import ExifTags, Image
from playwright.sync_api import expect

from tests.browser.conftest import LAPTOP, PHONE
from tests.browser.taps import answered, until_held
from tests.browser.test_accessibility import problems, problems_in_both_schemes

TARGET_PX = 48


def file(seed, taken=None, name="", size=(320, 240)):
    """A picture like no other, as playwright hands it to a file field."""
    spots = np.random.default_rng(seed).integers(0, 255, (8, 9, 3), dtype=np.uint8)
    exif = Image.Exif()
    if taken:
        exif.get_ifd(ExifTags.IFD.Exif)[ExifTags.Base.DateTimeOriginal] = taken.strftime(
            "%Y:%m:%d %H:%M:%S"
        )
    out = io.BytesIO()
    Image.fromarray(spots).resize(size, Image.Resampling.BICUBIC).save(out, "JPEG", exif=exif)
    return {"name": name or f"IMG_{seed}.jpg", "mimeType": "image/jpeg", "buffer": out.getvalue()}


def files(count, *, year):
    """Photos two minutes apart, on a day that no other test uses."""
    start = datetime.fromisoformat(f"{year}-05-14T17:30:00")
    return [
        file(
            uuid.uuid4().int % 2**32, start + timedelta(minutes=2 * number), f"{year} {number}.jpg"
        )
        for number in range(count)
    ]


NOT_A_PICTURE = {"name": "notes.txt", "mimeType": "text/plain", "buffer": b"straw"}


def sort_page(open_phone, site, **given):
    page = open_phone("ada", **given)
    page.goto(f"/f/{site.flock}/sort/")
    return page


def bring(page, chosen, said):
    if not page.locator("#old-photos").is_visible():
        page.locator(".bring > summary").click()
    page.set_input_files("#old-photos", chosen)
    expect(page.locator(".announced")).to_have_text("Done.")
    expect(page.locator(".told")).to_have_text(said)


def group(page, year):
    return page.locator(".sort-group", has=page.get_by_role("heading", name=f"14 May {year}"))


def test_bringing_in_again_sends_only_what_is_missing(open_phone, site):
    page = sort_page(open_phone, site)
    posts = []
    page.on("request", lambda request: posts.append(request.url) if "/send/" in request.url else 0)
    chosen = files(5, year=2001)
    bring(page, [*chosen[:3], NOT_A_PICTURE], "4 of 4 · 3 new · 1 not taken. Done.")
    expect(page.locator(".refused")).to_contain_text("“notes.txt” is not a picture we can read")
    expect(group(page, 2001).locator("li")).to_have_count(3)
    assert len(posts) == 4
    page.reload()
    bring(page, chosen, "5 of 5 · 2 new · 3 here already. Done.")
    assert len(posts) == 6
    expect(group(page, 2001).locator("li")).to_have_count(5)


def test_where_the_browser_has_no_hashes_the_server_notices(open_phone, site):
    """As on plain HTTP in a home network."""
    page = sort_page(open_phone, site)
    page.add_init_script("Object.defineProperty(crypto, 'subtle', { value: undefined })")
    page.reload()
    chosen = files(2, year=2002)
    bring(page, chosen, "2 of 2 · 2 new. Done.")
    bring(page, chosen, "2 of 2 · 0 new · 2 here already. Done.")


def test_without_signal_it_waits_and_goes_on(open_phone, site):
    page = sort_page(open_phone, site)
    if not page.locator("#old-photos").is_visible():
        page.locator(".bring > summary").click()
    page.context.set_offline(True)
    page.set_input_files("#old-photos", files(3, year=2003))
    expect(page.locator(".told")).to_contain_text("No signal. It tries again by itself")
    page.context.set_offline(False)
    expect(page.locator(".told")).to_have_text("3 of 3 · 3 new. Done.")
    assert all("ERR_INTERNET_DISCONNECTED" in problem for problem in page.problems)
    page.problems.clear()


def test_what_is_too_large_or_a_video_is_not_even_sent(open_phone, site):
    page = sort_page(open_phone, site)
    video = {"name": "hens.mp4", "mimeType": "video/mp4", "buffer": b"x"}
    posts = []
    page.on("request", lambda request: posts.append(request.url) if "/send/" in request.url else 0)
    bring(page, [video, *files(1, year=2004)], "2 of 2 · 1 new · 1 not taken. Done.")
    expect(page.locator(".refused")).to_contain_text("“hens.mp4” is a video.")
    assert len(posts) == 1


def test_by_thumb(open_phone, site):
    page = sort_page(open_phone, site)
    bring(page, files(4, year=2005), "4 of 4 · 4 new. Done.")
    page.locator(".bring > summary").tap()
    tiles = group(page, 2005).locator("li label")
    bar = page.locator(".sort-bar")
    for number in (0, 2):
        tiles.nth(number).tap()
    expect(bar.locator(".bar-count")).to_have_text("2 photos chosen")
    bar.locator("label", has=page.locator("[name=foot][value=left]")).tap()
    bar.locator("label", has=page.locator("[name=score][value='1']")).tap()
    for part in bar.locator(".bar-fields label:visible, summary, button:visible").all():
        box = part.bounding_box()
        assert min(box["width"], box["height"]) >= TARGET_PX, part.inner_text()

    bar.locator(".bar-save").tap()
    expect(bar.locator(".errorlist")).to_contain_text("Say whose foot this is.")
    expect(bar.locator(".bar-count")).to_have_text("2 photos chosen")

    bar.locator("#bird-rows label", has_text="Fennel").tap()
    expect(bar.locator(".bird-said")).to_have_text("Fennel")
    bar.locator(".bar-save").tap()
    expect(bar.locator(".bar-last")).to_have_text(
        "2 photos: Fennel, left foot, mild (1). 1 check made."
    )
    expect(group(page, 2005).locator("li")).to_have_count(2)

    bar.get_by_role("button", name="Undo").tap()
    expect(page.locator(".notice")).to_contain_text("Undone: 2 photos: Fennel")
    expect(group(page, 2005).locator("li")).to_have_count(4)

    group(page, 2005).locator(".all").tap()
    expect(bar.locator(".bar-count")).to_have_text("4 photos chosen")
    bar.locator(".none").tap()
    expect(bar.locator(".bar-count")).to_be_empty()


def test_by_key(open_phone, site):
    page = sort_page(open_phone, site, viewport=LAPTOP)
    bring(page, files(6, year=2006), "6 of 6 · 6 new. Done.")
    boxes = group(page, 2006).locator("input[name=photo]")
    boxes.first.focus()

    def chosen():
        return [box.is_checked() for box in boxes.all()]

    page.keyboard.press("Space")
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Shift+Space")
    assert chosen() == [True, True, True, False, False, False]
    page.keyboard.press("Escape")
    page.keyboard.press("ArrowLeft")
    page.keyboard.press("Shift+ArrowRight")
    assert chosen() == [False, True, True, False, False, False]
    for key in ("l", "r", "2", "2", "0"):
        page.keyboard.press(key)
    assert page.locator("[name=foot][value=right]").is_checked()
    assert page.locator("[name=score][value='0']").is_checked()
    page.keyboard.press("b")
    page.keyboard.type("tans")
    page.keyboard.press("Enter")
    expect(page.locator(".bird-said")).to_have_text("Tansy")
    page.keyboard.press("Enter")
    expect(page.locator(".bar-last")).to_have_text(
        "2 photos: Tansy, right foot, clear (0). 1 check made."
    )
    expect(boxes).to_have_count(4)
    expect(boxes.nth(1)).to_be_focused()  # the next one after those that were saved
    page.keyboard.press("d")
    page.keyboard.type("2006-06")
    page.keyboard.press("Enter")
    expect(boxes.nth(1)).to_be_focused()
    page.keyboard.press("Space")
    page.keyboard.press("Enter")
    expect(page.locator(".bar-last")).to_have_text("1 photo: June 2006.")
    for remaining in (4, 6):
        expect(page.locator(".sort-size")).to_be_visible()  # the list that has come is at work
        boxes.first.focus()
        page.keyboard.press("u")
        expect(boxes).to_have_count(remaining)


def test_down_goes_to_the_photo_below_and_o_opens_it_large_and_back(open_phone, site):
    page = sort_page(open_phone, site, viewport=LAPTOP)
    bring(page, files(12, year=2007), "12 of 12 · 12 new. Done.")
    boxes = group(page, 2007).locator("input[name=photo]")
    expect(boxes).to_have_count(12)
    boxes_of = [box.get_attribute("value") for box in boxes.all()]
    boxes.nth(1).focus()
    page.keyboard.press("ArrowDown")
    below = page.locator("input[name=photo]:focus")
    first, second = boxes.nth(1).bounding_box(), below.bounding_box()
    assert abs(first["x"] - second["x"]) < 2 < second["y"] - first["y"]
    page.keyboard.press("ArrowUp")
    expect(boxes.nth(1)).to_be_focused()
    page.keyboard.press("o")
    expect(page.locator(".one-photo img")).to_have_attribute("src", re.compile(r"/1600\.jpg"))
    expect(page.locator(".one-photo")).to_be_focused()
    page.keyboard.press("ArrowRight")
    expect(page.locator("#one")).to_have_attribute("data-photo", boxes_of[2])
    page.keyboard.press("Escape")
    expect(boxes.nth(2)).to_be_focused()


def test_shift_and_click_choose_a_range(open_phone, site):
    page = sort_page(open_phone, site, viewport=LAPTOP)
    bring(page, files(5, year=2008), "5 of 5 · 5 new. Done.")
    tiles = group(page, 2008).locator("li label")
    tiles.nth(3).locator("img").click()
    tiles.nth(1).locator("img").click(modifiers=["Shift"])
    checked = [box.is_checked() for box in group(page, 2008).locator("input").all()]
    assert checked == [False, True, True, True, False]


def test_photos_that_look_the_same(open_phone, site):
    page = sort_page(open_phone, site, viewport=LAPTOP)
    taken = datetime.fromisoformat("2009-05-14T12:00:00")
    pair = [file(2009, taken, "a.jpg", (640, 480)), file(2009, taken, "b.jpg", (320, 240))]
    bring(page, pair, "2 of 2 · 2 new. Done.")
    alike = page.locator(".alike form", has_text="14 May 2009")
    page.locator(".alike > summary").click()
    expect(alike.locator("li")).to_have_count(2)
    expect(alike.locator("li", has_text="640 × 480")).to_contain_text("Keep this: larger")
    alike.locator("li", has_text="320 × 240").get_by_role("button", name="Drop this").click()
    expect(page.locator(".bar-last")).to_have_text("1 photo deleted.")
    expect(group(page, 2009).locator("li")).to_have_count(1)
    expect(page.locator(".alike form", has_text="14 May 2009")).to_have_count(0)


def test_small_groups_share_a_row_and_their_size_stays(open_phone, site):
    page = sort_page(open_phone, site, viewport=LAPTOP)
    far = [datetime.fromisoformat(f"201{n}-12-24T08:00:00") for n in range(3)]
    bring(page, [file(uuid.uuid4().int % 2**32, taken) for taken in far], "3 of 3 · 3 new. Done.")
    groups = [
        page.locator(".sort-group", has=page.get_by_role("heading", name=f"24 Dec 201{n}"))
        for n in range(3)
    ]
    tops = {group.bounding_box()["y"] for group in groups}
    assert len(tops) < 3
    page.locator("#tile-size").fill("232")
    page.reload()
    assert groups[0].locator("img").bounding_box()["width"] == 232
    expect(page.locator("#tile-size")).to_have_value("232")


def one_of(page, site, year):
    """The first photo of that year's group, large."""
    group(page, year).locator(".one-link").first.click()
    expect(page.locator(".one-photo")).to_be_focused()


def at_photo(page, key):
    """That photo is shown and takes keys: what is pressed before saves nothing."""
    expect(page.locator(f"#one[data-photo='{key}'] .one-photo")).to_be_focused()


def chosen_of(page):
    return [
        page.locator(f"#one [name={name}]:checked").get_attribute("value")
        for name in ("foot", "score")
    ]


def test_one_at_a_time_by_key(open_phone, site):
    """Its console stays clean: no style or code that the content policy drops."""
    page = sort_page(open_phone, site, viewport=LAPTOP)
    bring(page, files(3, year=1998), "3 of 3 · 3 new. Done.")
    boxes = group(page, 1998).locator("input")
    expect(boxes).to_have_count(3)
    keys = [box.get_attribute("value") for box in boxes.all()]
    loads = []
    page.on("load", lambda: loads.append(page.url))
    one_of(page, site, 1998)
    page.keyboard.press("Shift+s")
    page.keyboard.press("Shift+s")
    expect(page.locator(".one-named")).to_have_text("Sorrel")
    page.keyboard.press("2")  # not all is said yet: it is only chosen
    page.keyboard.press("l")
    at_photo(page, keys[0])

    page.route("**/sort/one/**", lambda route: route.abort())
    page.keyboard.press("Enter")
    expect(page.locator(".one-trouble")).to_contain_text("did not get through")
    assert chosen_of(page) == ["left", "2"]
    expect(page.locator(".one-photo img")).to_have_attribute("src", re.compile(keys[0]))
    page.unroute("**/sort/one/**")
    page.keyboard.press("ArrowRight")
    at_photo(page, keys[1])
    page.keyboard.press("ArrowLeft")
    at_photo(page, keys[0])
    assert chosen_of(page) == ["left", "2"]  # also what was not saved yet

    page.keyboard.press("Enter")
    at_photo(page, keys[1])
    expect(page.locator(".one-last")).to_contain_text("Sorrel, left foot, swollen (2). 1 check")
    expect(page.locator(".one-named")).to_have_text("Sorrel")
    assert keys[1] in page.url
    for key in ("r", "0"):  # the score comes last, and saves
        page.keyboard.press(key)
    at_photo(page, keys[2])
    for key in ("b", *"tans", "Enter", "l", "1"):
        page.keyboard.press(key)
    expect(page.locator(".one-last")).to_contain_text("Tansy, left foot, mild (1)")
    expect(page.locator("#one .one-photo")).to_be_focused()
    page.keyboard.press("u")
    at_photo(page, keys[2])
    assert len(loads) == 1
    of_no_signal = ("ERR_FAILED", "htmx:sendError", "htmx:afterRequest")
    assert all(any(name in said for name in of_no_signal) for said in page.problems), page.problems
    page.problems.clear()


def test_keys_before_all_scripts_are_there_choose_and_save_nothing_unseen(open_phone, site):
    """Saved without htmx the page would be left, and the next keys would go to the photo before."""
    page = sort_page(open_phone, site, viewport=LAPTOP)
    bring(page, files(2, year=1996), "2 of 2 · 2 new. Done.")
    box = group(page, 1996).locator("input").first
    address = f"/f/{site.flock}/sort/one/?photo={box.get_attribute('value')}"
    late, posts = [], []

    def with_a_late_script(route):
        if route.request.method == "POST":
            posts.append(route.request)
            return route.continue_()
        answer = route.fetch()
        script = '<script src="/static/late.js" defer></script></head>'
        return route.fulfill(response=answer, body=answer.text().replace("</head>", script))

    page.route("**/sort/one/**", with_a_late_script)
    page.route("**/static/late.js", lambda route: late.append(route))
    page.goto(address, wait_until="commit")
    expect(page.locator(".one-photo")).to_be_focused()
    for key in ("Shift+s", "l", "Enter", "2"):
        page.keyboard.press(key)
    expect(page.locator(".one-named")).to_have_text("not said")
    late[0].fulfill(body="", content_type="text/javascript")
    expect(page.locator(".one-named")).to_have_text(re.compile("^S"))
    expect(page.locator("#one [name=foot][value=left]")).to_be_checked()
    expect(page.locator("#one [name=score]:checked")).to_have_count(0)
    assert not posts
    bird = page.locator(".one-named").inner_text()
    page.keyboard.press("2")
    expect(page.locator(".one-last")).to_contain_text(f"{bird}, left foot, swollen (2)")
    assert len(posts) == 1
    page.unroute_all()


def test_arrows_pressed_while_a_photo_comes_lead_on_from_it(open_phone, site):
    page = sort_page(open_phone, site, viewport=LAPTOP)
    bring(page, files(3, year=1997), "3 of 3 · 3 new. Done.")
    boxes = group(page, 1997).locator("input")
    expect(boxes).to_have_count(3)
    keys = [box.get_attribute("value") for box in boxes.all()]
    one_of(page, site, 1997)
    held = []
    page.route("**/sort/one/**", lambda route: route.continue_() if held else held.append(route))
    for key in ("ArrowRight", "ArrowRight", "l"):
        page.keyboard.press(key)
    until_held(page, held)
    held[0].continue_()
    at_photo(page, keys[2])
    assert page.locator("#one [name=foot]:checked").get_attribute("value") == "left"


def test_photos_chosen_while_the_list_is_on_its_way_stay_chosen(open_phone, site):
    page = sort_page(open_phone, site, viewport=LAPTOP)
    bring(page, files(2, year=1995), "2 of 2 · 2 new. Done.")
    boxes = group(page, 1995).locator("input")
    expect(boxes).to_have_count(2)
    held = []

    def hold(route):
        if route.request.method == "GET":
            held.append(route)
        else:
            route.continue_()

    page.route("**/sort/", hold)
    bring(page, files(1, year=1994), "1 of 1 · 1 new. Done.")
    until_held(page, held)
    boxes.first.check()
    answered(page, held[0].continue_)
    assert boxes.first.is_checked()
    expect(page.locator(".bar-count")).to_have_text("1 photo chosen")


def test_what_is_chosen_while_it_stops_is_sent_after_that(open_phone, site):
    page = sort_page(open_phone, site)
    held = []
    page.route("**/send/", lambda route: held.append(route) if len(held) < 2 else route.continue_())
    if not page.locator("#old-photos").is_visible():
        page.locator(".bring > summary").click()
    page.set_input_files("#old-photos", files(4, year=1993))
    until_held(page, held, 2)
    page.locator(".bring .stop").click()
    expect(page.locator(".announced")).to_contain_text("Stopped.")
    page.set_input_files("#old-photos", files(1, year=1992))
    for route in held:
        route.continue_()
    page.unroute("**/send/")
    expect(page.locator(".told")).to_have_text("1 of 1 · 1 new. Done.")
    expect(group(page, 1992).locator("li")).to_have_count(1)


def test_one_at_a_time_by_thumb_and_without_script(open_phone, browser, site):
    page = sort_page(open_phone, site)
    bring(page, files(2, year=1999), "2 of 2 · 2 new. Done.")
    one_of(page, site, 1999)
    for part in page.locator("#one label:visible, #one .one-go > *, #one summary:visible").all():
        box = part.bounding_box()
        assert min(box["width"], box["height"]) >= TARGET_PX, part.inner_text()
    assert not problems(page)
    address = page.url
    page.locator(".one-faces label").first.tap()
    page.locator("#one label", has=page.locator("[name=foot][value=left]")).tap()
    page.locator(".one-save").tap()
    expect(page.locator(".one-last")).to_contain_text(", left foot.")

    context = browser.new_context(viewport=PHONE, java_script_enabled=False, base_url=site.url)
    session = {"name": "flockcare_session", "value": site.sessions["ada"], "url": site.url}
    context.add_cookies([session])
    plain = context.new_page()
    plain.goto(address)
    plain.get_by_role("link", name="Next").click()
    expect(plain.locator(".one-when")).to_contain_text("17:32")
    plain.locator(".one-faces label").nth(1).click()
    plain.locator(".one-save").click()
    expect(plain.locator(".one-last")).to_contain_text("1 photo: ")
    plain.locator(".one-last button").click()
    expect(plain.locator(".notice.success")).to_contain_text("Undone")
    expect(plain.locator(".one-when")).to_contain_text("17:32")
    context.close()


def test_without_script(browser, site):
    context = browser.new_context(viewport=PHONE, java_script_enabled=False, base_url=site.url)
    context.add_cookies(
        [{"name": "flockcare_session", "value": site.sessions["ada"], "url": site.url}]
    )
    page = context.new_page()
    page.goto(f"/f/{site.flock}/sort/")
    if not page.locator("#old-photos").is_visible():
        page.locator(".bring > summary").click()
    page.set_input_files("#old-photos", [*files(2, year=2010), NOT_A_PICTURE])
    page.get_by_role("button", name="Bring them in").click()
    expect(page.locator(".notice.error")).to_contain_text("“notes.txt”")
    expect(page.locator(".notice.success")).to_have_text("2 photos added.")
    group(page, 2010).locator("label").first.click()
    page.locator(".sort-bar label", has=page.locator("[name=foot][value=left]")).click()
    page.locator(".bar-bird > summary").click()
    page.locator("#bird-rows label", has_text="Lovage").click()
    page.locator(".bar-save").click()
    expect(page.locator(".bar-last")).to_have_text("1 photo: Lovage, left foot.")
    page.get_by_role("button", name="Undo").click()
    expect(page.locator(".notice.success")).to_contain_text("Undone")
    expect(group(page, 2010).locator("li")).to_have_count(2)
    context.close()


@pytest.mark.parametrize("viewport", [PHONE, LAPTOP], ids=["phone", "laptop"])
def test_accessible_while_sorting(open_phone, site, viewport):
    page = sort_page(open_phone, site, viewport=viewport)
    year = 2011 + (viewport == PHONE)
    bring(page, files(3, year=year), "3 of 3 · 3 new. Done.")
    assert not problems_in_both_schemes(page)
    group(page, year).locator("label").first.click()
    page.locator(".bar-bird > summary").click()
    page.locator(".bar-date > summary").click()
    page.locator("label", has=page.locator("[name=score][value='1']")).click()
    assert not problems_in_both_schemes(page)
    page.locator(".bar-save").click()
    expect(page.locator(".sort-bar .errorlist").first).to_be_visible()
    assert not problems_in_both_schemes(page)
    assert page.evaluate("document.documentElement.scrollWidth - window.innerWidth") <= 0

"""Logging checks on a phone, as two keepers do it."""

import io

from PIL import Image


class Taps:
    """Counts what the thumb does."""

    def __init__(self, page):
        self.page, self.count = page, 0

    def __call__(self, selector):
        self.page.locator(selector).first.tap()
        self.count += 1


def photo(folder, colour):
    stream = io.BytesIO()
    Image.new("RGB", (1200, 900), colour).save(stream, "JPEG")
    path = folder / f"{colour}.jpg"
    path.write_bytes(stream.getvalue())
    return path


def test_a_clear_check_takes_three_taps(open_phone, record_property):
    page = open_phone("ada")
    tap = Taps(page)
    tap("text=Check a bird")
    tap(".row:has-text('Dill')")
    tap("button:has-text('Both feet clear')")
    page.wait_for_selector("text=Saved: Dill, both feet clear")
    record_property("taps clear", tap.count)
    assert tap.count == 3


def test_a_second_tap_of_two_does_not_save_the_next_bird(open_phone, site):
    page = open_phone("ada")
    page.clock.install()
    page.goto(f"/f/{site.flock}/birds/{site.birds['Dill']}/check/")
    button = page.locator("button:has-text('Both feet clear')")
    assert button.is_disabled()
    page.clock.run_for(700)
    assert button.is_enabled()
    button.tap()
    page.wait_for_selector("text=Saved: Dill, both feet clear")


def test_enter_in_a_field_saves_what_was_said(open_phone, site):
    page = open_phone("ada")
    page.goto(f"/f/{site.flock}/birds/{site.birds['Mace']}/check/")
    page.locator(".part-left label:has-text('Clear')").tap()
    page.locator("summary:has-text('Note, other photo, date')").tap()
    page.locator("[name=at]").press("Enter")
    page.wait_for_selector("text=Saved: Mace, left foot clear")
    assert page.locator("text=right foot clear").count() == 0


def test_a_finding_takes_at_most_eight_taps(open_phone, record_property):
    page = open_phone("ada")
    tap = Taps(page)
    tap("text=Check a bird")
    tap(".row:has-text('Sorrel')")
    tap(".foot-left .over-0")
    tap(".part-left label:has-text('Mild')")
    tap(".part-left label:has-text('brown')")
    tap(".part-right label:has-text('Clear')")
    tap("button:has-text('Save check')")
    page.wait_for_selector("text=Saved: Sorrel, left foot mild, right foot clear")
    record_property("taps finding", tap.count)
    assert tap.count <= 8


def test_a_finding_with_a_photo_is_seen_by_the_other_keeper(open_phone, site, tmp_path):
    mine, theirs = open_phone("ada"), open_phone("ben")
    mine.goto(f"/f/{site.flock}/birds/{site.birds['Fennel']}/check/")
    mine.locator(".foot-right .over-3").tap()
    mine.locator(".part-right label:has-text('Swollen')").tap()
    mine.set_input_files("#id_right-photos", photo(tmp_path, "tan"))
    mine.wait_for_selector(".part-right .kept-photos img")
    mine.locator("button:has-text('Save check')").tap()
    mine.wait_for_selector("text=Saved: Fennel")

    theirs.reload()
    theirs.locator(".row:has-text('Fennel') >> text=right").first.wait_for()
    theirs.goto(f"/f/{site.flock}/birds/{site.birds['Fennel']}/")
    theirs.locator("img[src*='/photos/']").first.scroll_into_view_if_needed()
    theirs.wait_for_function("document.querySelector('img[src*=\"/photos/\"]').naturalWidth > 0")
    assert mine.goto(theirs.url).ok
    timelines = [page.locator("svg.timeline").first.inner_html() for page in (mine, theirs)]
    assert timelines[0] == timelines[1]


def test_what_was_typed_outlives_a_closed_tab(open_phone, site):
    page = open_phone("ada")
    address = f"/f/{site.flock}/birds/{site.birds['Tansy']}/check/"
    page.goto(address)
    page.locator(".foot-left .over-2").tap()
    page.locator(".part-left label:has-text('Mild')").tap()
    page.locator("text=Note, other photo, date").tap()
    page.fill("#id_note", "Walks on straw only.")
    context = page.context
    page.close()
    again = context.new_page()
    again.problems = []
    again.goto(address)
    again.wait_for_selector("text=What you had typed for this bird is back.")
    assert again.input_value("#id_note") == "Walks on straw only."
    assert again.locator("#id_left-sites_2").is_checked()
    again.locator("button:has-text('Save check')").tap()
    again.wait_for_selector("text=Saved: Tansy")
    again.goto(address)
    assert not again.locator("text=What you had typed").count()


def test_a_chosen_answer_can_be_taken_back(open_phone, site):
    page = open_phone("ada")
    page.goto(f"/f/{site.flock}/birds/{site.birds['Dill']}/check/")
    page.locator(".part-left label:has-text('Mild')").tap()
    page.locator(".part-left label:has-text('black')").tap()
    page.locator(".part-left label:has-text('black')").tap()
    assert not page.locator("#id_left-scab_2").is_checked()


def test_an_error_stands_at_the_field_and_loses_nothing(open_phone, site, tmp_path):
    page = open_phone("ben")
    page.goto(f"/f/{site.flock}/birds/{site.birds['Anise']}/check/")
    page.locator(".foot-left .over-0").tap()
    page.locator(".part-left label:has-text('Not checked')").tap()
    page.set_input_files("#id_left-photos", photo(tmp_path, "salmon"))
    page.wait_for_selector(".part-left .kept-photos img")
    page.locator("button:has-text('Save check')").tap()
    page.wait_for_selector(".part-left .errorlist:has-text('Say how this foot is')")
    assert page.locator("#id_left-sites_0").is_checked()
    assert page.locator(".part-left .kept-photos img").count() == 1
    page.locator(".part-left label:has-text('Mild')").tap()
    page.locator("button:has-text('Save check')").tap()
    page.wait_for_selector("text=Saved: Anise, left foot mild")


def test_the_check_form_works_without_script(browser, site):
    context = browser.new_context(java_script_enabled=False, base_url=site.url)
    context.add_cookies(
        [{"name": "flockcare_session", "value": site.sessions["ada"], "url": site.url}]
    )
    page = context.new_page()
    page.goto(f"/f/{site.flock}/birds/{site.birds['Clove']}/check/")
    page.locator(".foot-right .over-0").click()
    page.locator(".part-right label:has-text('Mild')").click()
    page.locator("button:has-text('Save check')").click()
    assert page.locator("text=Saved: Clove, right foot mild").count() == 1
    context.close()


def test_two_keepers_share_a_round(open_phone):
    mine, theirs = open_phone("ada"), open_phone("ben")
    seen = []
    start = mine.locator("button:has-text('Start a round')")
    # How many are due depends on which birds other tests have looked at.
    due = int(start.inner_text().split("(")[1].split()[0])
    start.tap()
    mine.wait_for_selector("button:has-text('Both feet clear')")
    theirs.reload()
    theirs.locator("button:has-text('Go on with the round')").tap()
    theirs.wait_for_selector("button:has-text('Both feet clear')")
    for _ in range(3):
        for page in (mine, theirs):
            if not page.locator("button:has-text('Both feet clear')").count():
                continue
            seen.append(page.locator("h1").inner_text())
            with page.expect_navigation():
                page.locator("button:has-text('Both feet clear')").tap()
    assert len(seen) == len(set(seen)) == min(due, 6) >= 2

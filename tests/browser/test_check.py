"""Logging checks on a phone, as two keepers do it."""

import io
import re

import pytest
from PIL import Image
from playwright.sync_api import expect

from tests.browser.taps import both_feet_clear, opened_again, until, until_held
from tests.browser.test_accessibility import problems_in_both_schemes


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
    page = open_phone("ada", "today/")
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
    page = open_phone("ada", "today/")
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
    mine, theirs = open_phone("ada"), open_phone("ben", "today/")
    mine.goto(f"/f/{site.flock}/birds/{site.birds['Fennel']}/check/")
    mine.locator(".foot-right .over-3").tap()
    mine.locator(".part-right label:has-text('Swollen')").tap()
    mine.set_input_files("#id_right-photos", photo(tmp_path, "tan"))
    mine.wait_for_selector(".part-right .kept-photos img[src*='240.jpg']")
    mine.locator("button:has-text('Save check')").tap()
    mine.wait_for_selector("text=Saved: Fennel")

    theirs.reload()
    theirs.locator(".row:has-text('Fennel') >> text=right").first.wait_for()
    theirs.goto(f"/f/{site.flock}/birds/{site.birds['Fennel']}/")
    theirs.locator("img[src*='/photos/']").first.scroll_into_view_if_needed()
    until(theirs, "document.querySelector('img[src*=\"/photos/\"]').naturalWidth > 0")
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
    again = opened_again(page, address)
    assert again.input_value("#id_note") == "Walks on straw only."
    assert again.locator("#id_left-sites_2").is_checked()
    again.locator("button:has-text('Save check')").tap()
    again.wait_for_selector("text=Saved: Tansy")
    again.goto(address)
    assert not again.locator("text=What you had typed").count()


def test_saved_again_after_back_it_is_the_same_check(open_phone, site):
    page = open_phone("ada")
    address = f"/f/{site.flock}/birds/{site.birds['Sorrel']}/check/"
    log(page, site, "Sorrel", left=1)
    edit = page.locator("a:has-text('View or edit')").get_attribute("href")
    first = re.search("/checks/(.+)/", edit)[1]
    page.go_back()
    expect(page.locator("[name=check_id]")).to_have_value(first)
    page.locator(".part-left label:has-text('Swollen')").tap()
    page.locator("button:has-text('Save check')").tap()
    expect(page.locator("text=This is saved already, with other details.")).to_be_visible()
    page.locator("a:has-text('Open the saved one')").tap()
    expect(page).to_have_url(re.compile(f"/checks/{first}/$"))
    # A form that is opened anew is for another check.
    page.goto(address)
    expect(page.locator("[name=check_id]")).not_to_have_value(first)


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
    page.wait_for_selector(".part-left .kept-photos img[src*='240.jpg']")
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
    expect(page.locator("text=Saved: Clove, right foot mild")).to_be_visible()
    context.close()


def test_two_keepers_share_a_round(open_phone):
    mine, theirs = (open_phone(name, "today/") for name in ("ada", "ben"))
    seen = []
    start = mine.locator("button:has-text('Start a round')")
    # How many are due depends on which birds other tests have looked at.
    due = int(start.inner_text().split("(")[1].split()[0])
    start.tap()
    mine.wait_for_selector("button:has-text('Both feet clear')")
    theirs.reload()
    theirs.locator(".round-card button").tap()
    theirs.wait_for_selector("button:has-text('Both feet clear')")
    for _ in range(3):
        for page in (mine, theirs):
            if not page.locator("button:has-text('Both feet clear')").count():
                continue
            seen.append(page.locator("h1").inner_text())
            both_feet_clear(page)
            saved = page.locator(".notice.success").first
            expect(saved).to_contain_text(f"Saved: {seen[-1].strip()},")
    assert len(seen) == len(set(seen)) == min(due, 6) >= 2


def box(page, selector):
    return page.locator(selector).first.bounding_box()


def log(page, site, bird, *, left):
    """A check of some time ago, as a form sends one."""
    page.goto(f"/f/{site.flock}/birds/{site.birds[bird]}/check/")
    page.locator("[name=left-score]").nth(left).evaluate("field => (field.checked = true)")
    page.locator("#id_left-sites_0").evaluate("field => (field.checked = true)")
    page.locator("[name=right-score]").first.evaluate("field => (field.checked = true)")
    page.locator("button:has-text('Save check')").tap()
    page.wait_for_selector(f"text=Saved: {bird}")


def test_a_marked_place_proposes_mild_and_the_other_foot_is_one_tap(open_phone, record_property):
    page = open_phone("ada", "today/")
    tap = Taps(page)
    tap("text=Check a bird")
    tap(".row:has-text('Lovage')")
    tap(".foot-left .over-0")
    expect(page.locator("#id_left-score_1")).to_be_checked()
    page.wait_for_selector(".part-left .proposed:has-text('Set because')")
    assert page.locator(".part-right .proposed").is_hidden()
    tap("label.other-right")
    tap("button:has-text('Save check')")
    page.wait_for_selector("text=Saved: Lovage, left foot mild, right foot clear.")
    record_property("taps finding by its place", tap.count)
    assert tap.count == 5


def test_what_was_proposed_is_seen_above_the_bar_for_saving(open_phone, site):
    page = open_phone("ada")
    page.goto(f"/f/{site.flock}/birds/{site.birds['Mace']}/check/")
    page.locator(".foot-left .over-0").tap()
    save = page.locator("button:has-text('Save check')").bounding_box()
    chips = page.locator(".part-left .chips").first.bounding_box()
    assert chips["y"] > 0 and chips["y"] + chips["height"] <= save["y"]


def test_a_proposal_is_taken_by_a_tap_changed_by_another_and_goes_with_its_place(open_phone, site):
    page = open_phone("ada")
    page.goto(f"/f/{site.flock}/birds/{site.birds['Saffron']}/check/")
    page.locator(".foot-left .over-0").tap()
    mild = page.locator("#id_left-score_1")
    page.locator("label:has(#id_left-score_1)").tap()
    assert mild.is_checked() and page.locator(".part-left .proposed").is_hidden()
    page.locator("label:has(#id_left-score_1)").tap()
    assert not mild.is_checked()
    page.locator(".foot-right .over-2").tap()
    assert page.locator("#id_right-score_1").is_checked()
    page.locator("label:has(#id_right-score_2)").tap()
    assert page.locator(".part-right .proposed").is_hidden()
    page.locator("label:has(#id_right-score_3)").tap()
    page.locator(".foot-right .over-2").tap()
    page.locator(".foot-right .over-2").tap()
    assert page.locator("#id_right-score_1").is_checked()
    page.locator(".foot-right .over-2").tap()
    assert page.locator("#id_right-score_3").is_checked()
    page.evaluate("localStorage.clear()")


@pytest.mark.parametrize("score", [None, 2])
def test_taps_before_the_script_came_count_the_same(open_phone, site, score):
    """On a poor line the form is there, and tapped, seconds before what makes it quick."""
    page = open_phone("ada")
    held = []
    page.route("**/js/check*.js", lambda route: held.append(route))
    page.goto(f"/f/{site.flock}/birds/{site.birds['Saffron']}/check/", wait_until="commit")
    page.locator(".foot-right .over-2").tap()
    if score:
        page.locator(f"label:has(#id_right-score_{score})").tap()
    until_held(page, held)
    held[0].continue_()
    page.wait_for_load_state()
    assert page.locator(f"#id_right-score_{score or 1}").is_checked()
    assert page.locator(".part-right .proposed").is_visible() == (score is None)
    page.evaluate("localStorage.clear()")


def test_a_mark_by_mistake_goes_with_its_proposal_after_a_refusal_too(open_phone, site):
    """And the page stays where it is, so that both feet clear is still at hand."""
    page = open_phone("ada")
    page.goto(f"/f/{site.flock}/birds/{site.birds['Saffron']}/check/")
    page.locator(".foot-left .over-0").tap()
    page.locator("button:has-text('Both feet clear')").first.tap()
    page.wait_for_selector("text=the left foot is marked: mild, main pad")
    page.wait_for_selector("button:has-text('Clear that, both feet clear')")
    page.wait_for_load_state()
    assert page.locator(".part-left .proposed").is_visible()
    place = page.locator(".foot-left .over-0")
    place.evaluate("place => place.scrollIntoView({block: 'center'})")
    at = place.bounding_box()["y"]
    place.tap()
    assert abs(place.bounding_box()["y"] - at) < 2
    assert page.locator("#id_left-score_3").is_checked()
    page.locator(".verdicts button:has-text('Both feet clear')").tap()
    page.wait_for_selector("text=Saved: Saffron, both feet clear")


def test_a_foot_that_is_the_same_takes_four_taps_from_today(open_phone, site, record_property):
    page = open_phone("ada")
    log(page, site, "Borage", left=2)
    page.goto(f"/f/{site.flock}/today/")
    tap = Taps(page)
    tap("text=Check a bird")
    tap(".row:has-text('Borage')")
    assert "swollen, sore since" in page.locator(".known-foot").first.inner_text()
    tap(".known-foot label:has-text('Still the same')")
    expect(page.locator("#id_left-score_2")).to_be_checked()
    assert page.locator("#id_left-sites_0").is_checked()
    # A second thought empties it again, and another score is not the same.
    page.locator(".known-foot label").first.tap()
    assert page.locator("#id_left-score_3").is_checked()
    assert not page.locator("#id_left-sites_0").is_checked()
    page.locator(".known-foot label").first.tap()
    page.locator("label:has(#id_left-score_1)").tap()
    assert not page.locator("#id_left-same").is_checked()
    page.locator("label:has(#id_left-score_2)").tap()
    tap("button:has-text('Save check')")
    page.wait_for_selector("text=Saved: Borage, left foot swollen. Right foot not checked.")
    record_property("taps still the same", tap.count)
    assert tap.count == 4


def test_both_the_same_is_one_tap_on_the_form(open_phone, site):
    page = open_phone("ada")
    log(page, site, "Borage", left=1)
    page.goto(f"/f/{site.flock}/birds/{site.birds['Borage']}/check/")
    page.locator("button:has-text('Both still the same')").tap()
    page.wait_for_selector("text=Saved: Borage, left foot mild, right foot clear.")


def test_the_place_of_a_known_sore_is_filled_in_and_goes_with_its_score(open_phone, site):
    page = open_phone("ada")
    log(page, site, "Borage", left=1)
    page.goto(f"/f/{site.flock}/birds/{site.birds['Borage']}/check/")
    page.locator("label:has(#id_left-score_2)").tap()
    assert page.locator("#id_left-sites_0").is_checked()
    page.locator(".part-left label:has(#id_left-score_0)").tap()
    assert not page.locator("#id_left-sites_0").is_checked()
    page.evaluate("localStorage.clear()")


def test_both_feet_clear_asks_whether_the_sore_has_healed(open_phone, site):
    page = open_phone("ada")
    for answer, said in (
        ("Not checked closely", "right foot clear. Left foot not checked."),
        ("Yes, healed", "both feet clear."),
    ):
        log(page, site, "Borage", left=1)
        page.goto(f"/f/{site.flock}/birds/{site.birds['Borage']}/check/")
        assert page.locator(".healed").is_hidden()
        page.locator("button:has-text('Both feet clear')").tap()
        page.wait_for_selector(".healed:has-text('Left foot healed?')")
        assert page.locator(".healed button").first.is_disabled(), "the second tap of two"
        page.locator(f".healed button:has-text('{answer}')").tap()
        page.wait_for_selector(f"text=Saved: Borage, {said}")


def test_healed_is_asked_without_script_too(browser, open_phone, site):
    log(open_phone("ada"), site, "Borage", left=1)
    context = browser.new_context(java_script_enabled=False, base_url=site.url)
    context.add_cookies(
        [{"name": "flockcare_session", "value": site.sessions["ada"], "url": site.url}]
    )
    page = context.new_page()
    page.goto(f"/f/{site.flock}/birds/{site.birds['Borage']}/check/")
    page.locator("button:has-text('Both feet clear')").click()
    page.locator(".healed button:has-text('Yes, healed')").click()
    expect(page.locator("text=Saved: Borage, both feet clear.")).to_be_visible()
    context.close()


def test_one_chip_denies_the_signs_and_can_be_taken_back(open_phone, site):
    page = open_phone("ada")
    page.goto(f"/f/{site.flock}/birds/{site.birds['Caraway']}/check/")
    page.locator(".foot-left .over-0").tap()
    chip = page.locator("label:has-text('Not swollen, hot or oozing')")
    for _ in range(3):
        chip.tap()
    assert page.locator("#id_calm").is_checked()
    page.locator("label[for=id_left-oozing]").tap()
    page.locator("button:has-text('Save check')").tap()
    with page.expect_navigation():
        page.locator("a:has-text('View or edit')").tap()
    said = " ".join(page.locator("main").inner_text().split())
    assert "Signs oozing Not hot" in said and "Gait 0 normal" in said and "bright" in said


def test_the_leg_is_asked_for_with_the_limp(open_phone, site):
    page = open_phone("ada")
    page.goto(f"/f/{site.flock}/birds/{site.birds['Caraway']}/check/")
    page.locator("summary:has-text('How the bird walks')").tap()
    leg = page.locator(".which-leg")
    assert leg.is_hidden()
    page.locator("label:has-text('Definite')").tap()
    assert leg.is_visible()
    page.locator("label:has-text('Normal')").first.tap()
    assert leg.is_hidden()
    page.evaluate("localStorage.clear()")


def test_what_was_there_before_is_one_tap_to_answer(open_phone, site):
    page = open_phone("ada")
    address = f"/f/{site.flock}/birds/{site.birds['Chervil']}/check/"
    page.goto(address)
    page.locator(".foot-left .over-0").tap()
    page.locator("label[for=id_left-hot]").tap()
    page.locator("summary:has-text('How the bird walks')").tap()
    page.locator("label:has-text('Definite')").tap()
    page.locator("button:has-text('Save check')").tap()
    page.wait_for_selector("text=Saved: Chervil")
    page.goto(address)
    page.locator(".known-foot label").first.tap()
    page.locator(".pair:has-text('Still hot?') label:has-text('No')").tap()
    page.locator(".pair:has-text('Still limping?') label:has-text('No')").tap()
    page.locator("button:has-text('Save check')").tap()
    with page.expect_navigation():
        page.locator("a:has-text('View or edit')").tap()
    said = " ".join(page.locator("main").inner_text().split())
    assert "Not hot" in said and "Gait 0 normal" in said


@pytest.mark.parametrize("foot", ["left", "right"])
def test_no_choice_is_hidden_behind_a_bar_when_saving_is_refused(open_phone, site, foot):
    page = open_phone("ada")
    page.goto(f"/f/{site.flock}/birds/{site.birds['Tansy']}/check/")
    page.locator(f".foot-{foot} .over-0").tap()
    page.locator(f".part-{foot} label:has-text('Not checked')").tap()
    page.locator("button:has-text('Save check')").tap()
    page.wait_for_selector(f".part-{foot} .errorlist")
    page.wait_for_selector(f".part-{foot} :focus")  # which has been scrolled to
    bar = box(page, ".places")["y"]
    for number in range(4):
        chip = box(page, f"label:has(#id_{foot}-score_{number})")
        assert chip["y"] >= 0 and chip["y"] + chip["height"] <= bar
        middle = [chip["x"] + chip["width"] / 2, chip["y"] + chip["height"] / 2]
        over = page.evaluate("([x, y]) => document.elementFromPoint(x, y).name", middle)
        assert over == f"{foot}-score", "nothing lies over it"
    page.evaluate("localStorage.clear()")


def test_a_long_word_breaks_no_page(open_phone, site):
    page = open_phone("ada")
    page.goto(f"/f/{site.flock}/birds/{site.birds['Anise']}/check/")
    for name in ("h1 [data-bird-name]", ".known-foot p", ".foot-legend", "summary", ".chips span"):
        page.locator(name).first.evaluate("place => (place.textContent = 'Kikeriki'.repeat(500))")
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    for address in ("today", "birds", "check", f"birds/{site.birds['Anise']}", "houses"):
        page.goto(f"/f/{site.flock}/{address}/")
        page.evaluate(
            """() => {
              const words = document.createTreeWalker(document.querySelector("main"), 4);
              const found = [];
              while (words.nextNode()) found.push(words.currentNode);
              for (const text of found) {
                const place = text.parentElement;
                // In these stand short words of the app itself.
                const short = "svg, table, option, .feet-now, .tag, .visually-hidden";
                if (place.closest(short)) continue;
                if (text.data.trim()) text.data = "Kikeriki".repeat(12);
              }
            }"""
        )
        assert page.evaluate("document.documentElement.scrollWidth") <= 390, address


def test_what_is_known_and_asked_can_be_used_by_everybody(open_phone, site):
    page = open_phone("ada")
    log(page, site, "Borage", left=2)
    page.goto(f"/f/{site.flock}/birds/{site.birds['Borage']}/check/")
    page.locator("button:has-text('Both feet clear')").tap()
    page.locator(".known-foot label").first.tap()
    page.evaluate("document.querySelectorAll('details').forEach((part) => (part.open = true))")
    page.wait_for_selector(".settling", state="detached")
    assert problems_in_both_schemes(page) == []
    page.evaluate("localStorage.clear()")

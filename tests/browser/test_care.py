"""Care shared by two keepers, a bird whose eggs are withdrawn, and a sign that calls for a vet."""

from playwright.sync_api import expect

from tests.browser.taps import answered, until_held
from tests.browser.test_accessibility import problems_in_both_schemes

# The promise is that the others see it within 30 seconds without loading the page anew.
WITHIN_30_S = 30_000


def let_pass(site, days: int) -> None:
    site.installation.run("tests/browser/days_pass.py", str(days))


def row(page, words: str):
    return page.locator(f".standing-row:has-text('{words}')").first


def dressing(page, bird: str):
    """What is due of her dressing, where anything is."""
    return row(page, bird).locator(".due-line:has(.due-what:has-text('dressing'))")


def find_sore(page, site, bird: str, score: str, part=".foot-left .over-0") -> None:
    page.goto(f"/f/{site.flock}/birds/{site.birds[bird]}/check/")
    page.locator(part).tap()
    page.locator(f".part-left label:has-text('{score}')").tap()
    page.locator("button:has-text('Save check')").tap()
    page.wait_for_selector(f"text=Saved: {bird}")


def mark(page) -> None:
    """A sign on the window and on the list, to see whether they are still the same ones."""
    page.wait_for_selector("#care[hx-trigger^='every']")
    page.evaluate("window.stayed = true; document.querySelector('#care').stayed = true")


def test_a_list_that_was_on_its_way_does_not_undo_a_tap(open_phone, site):
    """Asked for before the tap, it says that the dressing is still due."""
    page = open_phone("ada")
    site.installation.run("tests/browser/prepare_dressing.py", site.flock, site.birds["Lovage"])
    page.goto(f"/f/{site.flock}/today/")
    mark(page)
    held = []
    page.route("**/care/today/", lambda route: held.append(route))
    page.evaluate(
        """() => { htmx.ajax("GET", document.querySelector("#care").getAttribute("hx-get"), {
          source: "#care", target: "#care", swap: "outerHTML",
          headers: {"If-None-Match": "other"},
        }); }"""
    )
    until_held(page, held)
    answer = held[0].fetch()
    dressing(page, "Lovage").locator("button:has-text('Changed')").tap()
    saved = row(page, "Lovage").locator(".saved:has-text('dressing changed')")
    saved.wait_for()
    answered(page, lambda: held[0].fulfill(response=answer))
    assert saved.is_visible()
    assert page.evaluate("document.querySelector('#care').stayed")


def test_two_keepers_share_a_dressing_for_three_days(open_phone, site):
    mine = open_phone("ada")
    find_sore(mine, site, "Caraway", "Mild")
    mine.locator("a:has-text('Log care')").tap()
    mine.locator("label:has-text('dressing on')").tap()
    mine.fill("#id_with_dressing", "gauze and wrap")
    mine.locator("button:has-text('Save')").tap()
    mine.wait_for_selector("text=Saved: Caraway, left foot: dressing on, gauze and wrap.")

    # The second day: one says "I'll do it", the other sees it.
    let_pass(site, 1)
    theirs = open_phone("ben", "today/")
    mine.clock.install()
    mine.goto(f"/f/{site.flock}/today/")
    for page in (mine, theirs):
        dressing(page, "Caraway").wait_for()
        # On this page that is due today which says nothing else.
        assert dressing(page, "Caraway").locator(".tag").count() == 0
        assert "Caraway" in page.locator(".answer :text('Due tonight')").inner_text()
    mark(mine)
    with mine.expect_response(lambda r: "/care/today/" in r.url) as poll:
        mine.clock.run_for(WITHIN_30_S)
    # Nothing has changed: an empty answer, and the list is left alone.
    assert poll.value.status == 304
    assert mine.evaluate("document.querySelector('#care').stayed")
    # A tap without signal says that it did not get through.
    mine.context.set_offline(True)
    row(mine, "Caraway").locator("button:has-text('I’ll do it')").tap()
    mine.wait_for_selector(".notice.error:has-text('no signal')")
    assert mine.locator(".notice.error a[href*='/step/?foot=left']").count() == 1
    mine.context.set_offline(False)
    mine.problems.clear()
    row(theirs, "Caraway").locator("button:has-text('I’ll do it')").tap()
    theirs.wait_for_selector(".due-line:has-text('You said you will do it')")
    mine.clock.run_for(WITHIN_30_S)
    mine.wait_for_selector(".due-line:has-text('Ben will do it')")
    # The card stays where it is, and says what was saved where the buttons were.
    below = theirs.locator("#looks")
    rows = theirs.locator(".standing-name").all_inner_texts()
    button = dressing(theirs, "Caraway").locator("button:has-text('Checked')")
    button.evaluate("button => button.scrollIntoView({block: 'center'})")
    at = below.bounding_box()["y"]
    button.tap()
    saved = row(theirs, "Caraway").locator(".saved:has-text('dressing checked'):has-text('by you')")
    saved.wait_for()
    assert theirs.evaluate("document.activeElement.className") == "saved-words"
    assert theirs.locator(".standing-name").all_inner_texts() == rows
    assert abs(below.bounding_box()["y"] - at) < 4
    mine.clock.run_for(WITHIN_30_S)
    mine.wait_for_selector(".done-now:has-text('dressing checked')")
    assert "Ben" in mine.locator(".done-now").inner_text()
    # She still stands there with her sore, and nothing is due of the dressing.
    assert row(mine, "Caraway").count() == 1
    assert not dressing(mine, "Caraway").count()
    assert mine.evaluate("window.stayed")

    # The third day nobody comes; on the fourth it is late, changed by mistake, and taken off.
    let_pass(site, 2)
    mine.reload()
    dressing(mine, "Caraway").wait_for()
    assert dressing(mine, "Caraway").locator(".tag.due").inner_text() == "1 day late"
    dressing(mine, "Caraway").locator("button:has-text('Changed')").tap()
    row(mine, "Caraway").locator(".saved button:has-text('Undo')").tap()
    mine.wait_for_selector("text=Undone: Caraway")
    dressing(mine, "Caraway").locator("button:has-text('Taken off')").tap()
    mine.wait_for_selector(".saved:has-text('dressing off')")
    # Two minutes after the last tap the list renews itself again.
    mine.clock.run_for(WITHIN_30_S)
    assert mine.locator(".saved").count() == 1
    mine.clock.run_for(120_000)
    mine.wait_for_selector(".done-now:has-text('dressing off')")
    let_pass(site, 1)
    theirs.reload()
    theirs.wait_for_selector("#care[hx-trigger^='every']")
    assert row(theirs, "Caraway").count() == 1
    assert not dressing(theirs, "Caraway").count()


def test_a_held_bird_is_marked_everywhere_and_when_she_leaves(open_phone, site):
    page = open_phone("ada")
    page.goto(f"/f/{site.flock}/care/birds/{site.birds['Lovage']}/step/")
    assert not page.locator("#id_egg_days").is_visible()
    page.locator("label:has-text('the whole bird')").tap()
    page.locator("label:has(input[name=kind][value=medicine])").tap()
    page.fill("#id_product", "drops")
    page.fill("#id_egg_days", "7")
    page.locator("label:has(input[name=days_from][value=vet])").tap()
    page.locator("button:has-text('Save')").tap()
    page.wait_for_selector("text=egg withdrawal")
    page.wait_for_selector("text=until the withdrawal days are known")
    other = open_phone("ben", "today/")
    other.wait_for_selector(".answer p:has-text('Don’t eat'):has-text('Lovage')")
    other.goto(f"/f/{site.flock}/birds/{site.birds['Lovage']}/")
    other.wait_for_selector(".standing-eggs:has-text('don’t eat')")
    other.goto(f"/f/{site.flock}/birds/{site.birds['Lovage']}/leave/")
    other.wait_for_selector(".held:has-text('Tell whoever takes Lovage')")


def test_an_urgent_sign_stands_on_top_of_today(open_phone, site):
    page = open_phone("ada")
    find_sore(page, site, "Saffron", "Swollen")
    page.goto(f"/f/{site.flock}/today/")
    page.wait_for_selector(".answer :text('Vet within days:'):has-text('Saffron')")
    # The first of all rows, but for those that are as urgent.
    first = page.locator(".standing-row").first
    assert first.locator(".level-soon, .level-now").count() == 1
    saffron = row(page, "Saffron")
    assert "Left foot: swollen" in saffron.locator(".standing").inner_text()
    saffron.locator("a:has-text('Saffron')").tap()
    page.wait_for_selector(".until-vet:has-text('do not cut')")
    page.locator("summary:has-text('Why, and what')").tap()
    page.wait_for_selector(".advice-soon")
    assert page.locator("a[href*='/opening/']").count() == 0


def test_what_nobody_is_sure_of_is_for_a_vet(open_phone, site):
    page = open_phone("ada")
    find_sore(page, site, "Lovage", "Mild")
    page.goto(f"/f/{site.flock}/care/birds/{site.birds['Lovage']}/")
    page.locator("a:has-text('A scab: leave it, and why')").tap()
    page.wait_for_selector("a:has-text('Leave it and monitor')")
    for question in range(9):
        page.locator(".questions fieldset").nth(question).locator(
            "label:has-text('not sure')"
        ).tap()
    page.locator("button:has-text('Show what follows')").tap()
    page.wait_for_selector("text=Call a vet. Do not open it.")
    page.wait_for_selector(".until-vet")
    assert page.locator("a:has-text('Leave it and monitor')").count() == 0


TOUCH = 44


def test_a_refused_step_shows_its_first_wrong_field(open_phone, site, tmp_path):
    """In sight, with the focus, however far down the form it stands."""
    page = open_phone("ada")
    page.goto(f"/f/{site.flock}/care/birds/{site.birds['Chervil']}/step/?foot=right&kind=watched")
    page.locator("summary:visible").tap()
    for key in ("id_photos", "id_photos-camera"):
        assert page.locator(f"label[for='{key}']").bounding_box()["height"] >= TOUCH
    page.fill("#id_at", "2031-01-01T10:00")
    page.locator("button:has-text('Save')").tap()
    page.wait_for_selector("#id_at:focus")
    assert in_sight(page, "#id_at_error")
    broken = tmp_path / "foot.jpg"
    broken.write_bytes(b"no picture")
    page.goto(f"/f/{site.flock}/care/birds/{site.birds['Chervil']}/step/?foot=right&kind=watched")
    page.locator("summary:visible").tap()
    # A picture that cannot be read is said as soon as it is chosen, and holds nothing up.
    page.set_input_files("#id_photos", broken)
    page.wait_for_selector(".photo-field .refused:has-text('foot.jpg')")
    assert in_sight(page, ".photo-field .refused")
    page.locator("button:has-text('Save')").tap()
    page.wait_for_selector("text=Saved: Chervil")


def in_sight(page, selector: str) -> bool:
    box = page.locator(selector).bounding_box()
    return box["y"] >= 0 and box["y"] + box["height"] <= page.viewport_size["height"]


def test_small_links_are_large_enough_for_a_thumb(open_phone, site):
    page = open_phone("ada")
    find_sore(page, site, "Chervil", "Mild")
    links = page.locator("main > .notice[role=status] a").all()
    heights = [link.bounding_box()["height"] for link in links]
    assert len(heights) >= 2 and min(heights) >= TOUCH
    page.goto(f"/f/{site.flock}/today/")
    page.wait_for_selector("a:has-text('All care')")
    assert page.locator("h2:has-text('Checked today')").count() == 1
    assert page.locator("a:has-text('All care')").bounding_box()["height"] >= TOUCH


def test_care_works_without_script(browser, site):
    context = browser.new_context(java_script_enabled=False, base_url=site.url)
    context.add_cookies(
        [{"name": "flockcare_session", "value": site.sessions["ada"], "url": site.url}]
    )
    page = context.new_page()
    page.goto(f"/f/{site.flock}/care/birds/{site.birds['Chervil']}/step/?foot=right&kind=watched")
    page.locator("button:has-text('Save')").click()
    expect(page.locator("text=Saved: Chervil, right foot: monitored.")).to_be_visible()
    page.goto(f"/f/{site.flock}/today/")
    page.locator("a:has-text('All care')").click()
    page.locator(".row:has-text('Chervil') >> button:has-text('Undo')").first.click()
    expect(page.locator("text=Undone: Chervil")).to_be_visible()
    context.close()


def test_a_calendar_link_is_shown_so_that_everybody_can_use_it(open_phone, site):
    page = open_phone("ada")
    page.goto(f"/f/{site.flock}/reminders/calendar/")
    page.locator("button:has-text('calendar link')").tap()
    page.wait_for_selector("#address")
    assert not problems_in_both_schemes(page)

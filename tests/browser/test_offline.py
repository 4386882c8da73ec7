"""No signal: what is logged waits on the phone and is stored once and only once."""

import contextlib
import io
import json
import re
import sqlite3
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from PIL import Image
from playwright.sync_api import expect

from flockcare.core.room import WORDS
from tests.browser.conftest import PHONE
from tests.browser.line import Line
from tests.browser.taps import both_feet_clear, until
from tests.browser.test_accessibility import problems
from tests.browser.test_check import photo


@pytest.fixture(scope="module")
def line(coop):
    with Line(coop.installation.port) as line:
        yield line


@pytest.fixture
def phones(browser, coop, line):
    """``phones("una")`` is a page of a phone of its own, signed in, with the worker at work."""
    contexts = []

    def opened(keeper, *, worker=True):
        context = browser.new_context(
            viewport=PHONE,
            has_touch=True,
            base_url=line.url,
            accept_downloads=True,
            service_workers="allow" if worker else "block",
        )
        contexts.append(context)
        sign_in(context, coop, line, keeper)
        page = context.new_page()
        page.set_default_timeout(20_000)
        page.goto(f"/f/{coop.flock}/today/")
        if worker:
            until(page, "navigator.serviceWorker.controller !== null")
        until(page, KEPT["lists"])
        return page

    yield opened
    line.mend()
    for context in contexts:
        context.close()


def sign_in(context, coop, line, keeper):
    context.add_cookies(
        [{"name": "flockcare_session", "value": coop.sessions[keeper], "url": line.url}]
    )


def _count(store: str) -> str:
    return """() => new Promise((resolve) => {
      const asked = indexedDB.open("flockcare");
      asked.onupgradeneeded = () => { asked.transaction.abort(); resolve(0); };
      asked.onerror = () => resolve(0);
      asked.onsuccess = () => {
        const count = asked.result.transaction("STORE").objectStore("STORE").count();
        count.onsuccess = () => { asked.result.close(); resolve(count.result); };
      };
    })""".replace("STORE", store)


KEPT = {store: _count(store) for store in ("entries", "photos", "lists")}


def waiting(page) -> int:
    return page.evaluate(KEPT["entries"])


def all_sent(page) -> None:
    until(page, f"async () => !(await ({KEPT['entries']})())")


def signal(line, page, *, on: bool) -> None:
    line.down = not on
    page.context.set_offline(not on)


def rows(coop, question: str, *values) -> list[tuple]:
    path = Path(coop.installation.environment["FLOCKCARE_DATA"]) / "flockcare.sqlite3"
    with contextlib.closing(sqlite3.connect(path)) as database:
        return database.execute(question, values).fetchall()


def checks(coop) -> dict[str, int]:
    """Checks by key, with how many photos each has."""
    return dict(
        rows(
            coop,
            "SELECT c.id, COUNT(p.id) FROM feet_check c "
            "LEFT JOIN feet_check_photos p ON p.check_id = c.id GROUP BY c.id",
        )
    )


def new_checks(coop, before) -> dict[str, int]:
    return {key: count for key, count in checks(coop).items() if key not in before}


def check_page(coop, bird) -> str:
    return f"/f/{coop.flock}/birds/{coop.birds[bird]}/check/"


def test_a_whole_round_of_twelve_birds_with_photos(phones, coop, line, tmp_path):
    page, before = phones("una"), checks(coop)
    signal(line, page, on=False)
    page.goto(f"/f/{coop.flock}/check/")
    for number, bird in enumerate(coop.birds):
        page.locator(f".bird-row:has-text('{bird}')").tap()
        page.wait_for_selector(f"h1:has-text('{bird}')")
        if number % 3:
            both_feet_clear(page)
        else:
            page.locator(".foot-left .over-0").tap()
            page.locator(".part-left label:has-text('Mild')").tap()
            page.set_input_files("#id_left-photos", photo(tmp_path, COLOURS[number // 3]))
            page.locator("text=will be sent with the check").wait_for()
            page.locator("button:has-text('Save check')").tap()
        page.wait_for_selector(f"text=Kept on this phone: {bird}: check")
    assert waiting(page) == 12
    assert new_checks(coop, before) == {}
    page.wait_for_selector("text=12 records wait on this phone")
    signal(line, page, on=True)
    all_sent(page)
    found = new_checks(coop, before)
    assert sorted(found.values()) == [0] * 8 + [1] * 4
    page.goto(f"/f/{coop.flock}/today/")
    assert page.locator("#outbox-bar").is_hidden()


COLOURS = ["peru", "sienna", "olive", "indigo", "teal", "plum"]


def come_back(page) -> None:
    """What the browser says when signal is back: the outbox does not wait any longer."""
    page.evaluate("window.dispatchEvent(new Event('online'))")


def sent_in_the_end(page, seconds=20) -> None:
    for _ in range(seconds * 4):
        if not waiting(page):
            return
        come_back(page)
        page.wait_for_timeout(250)
    pytest.fail("It was not sent.")


def test_the_line_is_cut_at_every_step_of_a_sending(phones, coop, line, tmp_path):
    """The page's own sending, asking who is signed in, the record, its photo: each of them before
    it reaches the server, after the server has stored it, in the middle of the answer, by a server
    in trouble, by a page of a strange network."""
    page, before = phones("una"), checks(coop)
    line.cut(r"POST .*/photos/add/", "before")
    line.cut(r"POST .*/birds/.*/check/$", "after")
    line.cut("/outbox/hello/", "before", "half", "trouble", "strange", "after")
    line.cut(r"POST .*/outbox/records/", "before", "after", "half", "trouble", "strange")
    line.cut(r"POST .*/outbox/photos/", "before", "after", "half", "trouble", "strange")
    met = len(line.met)
    page.goto(check_page(coop, "Tansy"))
    page.locator(".foot-left .over-0").tap()
    page.locator(".part-left label:has-text('Mild')").tap()
    page.set_input_files("#id_left-photos", photo(tmp_path, "orchid"))
    page.locator("text=will be sent with the check").wait_for()
    page.locator("button:has-text('Save check')").tap()
    page.wait_for_selector("text=Kept on this phone: Tansy: check, left foot mild")
    sent_in_the_end(page, seconds=30)
    assert len(line.met) - met == 17
    assert list(new_checks(coop, before).values()) == [1]
    page.goto(check_page(coop, "Tansy"))
    assert not page.locator("text=What you had typed").count()


def test_a_session_that_ends_and_another_keeper_on_the_same_phone(phones, coop, line):
    page, before = phones("una"), checks(coop)
    context = page.context
    page.goto(check_page(coop, "Dill"))
    signal(line, page, on=False)
    both_feet_clear(page)
    page.wait_for_selector("text=Kept on this phone: Dill")
    # The session ends: it is kept, and says what to do.
    context.clear_cookies(name="flockcare_session")
    signal(line, page, on=True)
    page.wait_for_selector("text=1 record waits on this phone, sign in to send")
    page.locator("#outbox-bar a").tap()
    page.locator("button:has-text('Send now')").tap()
    page.wait_for_selector("text=You are signed out. What waits is safe")
    assert page.locator("#to-sign-in").is_visible()
    # Another keeper signs in: nothing goes under their name, and they do not see what it says.
    sign_in(context, coop, line, "vic")
    page.goto(f"/f/{coop.flock}/today/")
    until(page, KEPT["lists"])
    assert page.locator("#outbox-bar").is_hidden()
    page.goto("/outbox/")
    page.wait_for_selector("text=what Una logged")
    assert page.locator("#outbox-rows li").count() == 0
    assert waiting(page) == 1
    assert new_checks(coop, before) == {}
    # Its maker is back.
    sign_in(context, coop, line, "una")
    page.goto(f"/f/{coop.flock}/today/")
    all_sent(page)
    (key,) = new_checks(coop, before)
    asked = (
        "SELECT k.sign_in_name FROM feet_check c JOIN people_keeper k ON k.id = c.keeper_id "
        "WHERE c.id = ?"
    )
    assert rows(coop, asked, key) == [("una",)]
    # Signing out, of a session of this phone's own, wipes the birds from it, not what waits.
    context.clear_cookies(name="flockcare_session")
    page.goto("/sign-in/")
    page.fill("[name=sign_in_name]", "una")
    page.fill("[name=password]", coop.password)
    page.locator("button:has-text('Sign in')").tap()
    page.wait_for_url("**/today/")
    until(page, KEPT["lists"])
    signal(line, page, on=False)
    page.goto(check_page(coop, "Mace"))
    page.wait_for_selector("h1:has-text('Mace')")
    both_feet_clear(page)
    page.wait_for_selector("text=Kept on this phone: Mace")
    # However often the page tries until it has been left, which it does as soon as there is signal.
    line.cut("/outbox/hello/", *["before"] * 30)
    signal(line, page, on=True)
    page.goto(f"/f/{coop.flock}/more/")
    page.locator("button:has-text('Sign out')").tap()
    page.wait_for_selector("h1:has-text('Sign in')")
    page.wait_for_selector("text=1 record waits on this phone, sign in to send")
    until(page, f"async () => !(await ({KEPT['lists']})())")
    assert waiting(page) == 1


ALL_PICTURES = """() => new Promise((resolve) => {
  const asked = indexedDB.open("flockcare");
  asked.onsuccess = () => {
    const kept = asked.result.transaction("lists").objectStore("lists").getAll();
    kept.onsuccess = () => {
      asked.result.close();
      const wanted = kept.result.find((one) => one.birds)?.pictures ?? [];
      resolve(wanted.length && kept.result.length === wanted.length + 1);
    };
  };
})"""


def test_today_a_bird_and_her_last_photos_are_read_without_signal(phones, coop, line, tmp_path):
    """Also what waits of her; it goes with signing out, and another keeper sees nothing of it."""
    other = phones("una", worker=False)
    other.goto(check_page(coop, "Clove"))
    other.locator(".foot-left .over-0").tap()
    other.locator(".part-left label:has-text('Mild')").tap()
    other.set_input_files("#id_left-photos", photo(tmp_path, "tomato"))
    other.wait_for_selector(".part-left .kept-photos img[src*='240.jpg']")
    other.locator("button:has-text('Save check')").tap()
    other.wait_for_selector("text=Saved: Clove")
    all_sent(other)
    page = phones("una")
    until(page, ALL_PICTURES)
    signal(line, page, on=False)
    page.goto("/")
    hers = page.locator("li:has-text('Clove')")
    hers.wait_for()
    assert re.fullmatch(r"As of \d\d:\d\d, no signal.", page.inner_text("#as-of"))
    # The day after there may be a medicine that this phone knows nothing of.
    page.clock.set_system_time(datetime.now(UTC) + timedelta(days=1))
    page.goto("/")
    page.wait_for_selector("#as-of:has-text('Ask before you eat eggs')")
    page.clock.set_system_time(datetime.now(UTC))
    page.goto("/")
    hers.wait_for()
    assert page.inner_text(".who") == "Una"
    assert "Left foot: mild, sore since" in hers.inner_text()
    assert not problems(page)
    hers.locator("a:has-text('Clove')").tap()
    page.wait_for_selector("h1:has-text('Clove')")
    until(page, "document.querySelector('.last-photos img').naturalWidth > 0")
    page.wait_for_selector("figcaption:has-text('Left foot')")
    assert not problems(page)
    page.locator("a:has-text('Check her')").tap()
    page.wait_for_selector("h1:has-text('Clove')")
    both_feet_clear(page)
    page.wait_for_selector("text=Kept on this phone: Clove")
    page.goto(f"/f/{coop.flock}/birds/")
    waits = "Waits on this phone: check, both feet clear"
    page.wait_for_selector(f"li:has-text('Clove') >> text={waits}")
    page.locator("a:has-text('Clove')").tap()
    page.wait_for_selector(f".bird-head + p:has-text('{waits}')")
    # Another keeper, who signs in while the list of theirs cannot be had.
    signal(line, page, on=True)
    sign_in(page.context, coop, line, "vic")
    line.cut("GET .*/outbox/birds/", *["before"] * 5)
    page.goto(f"/f/{coop.flock}/more/")
    until(page, f"async () => !(await ({KEPT['lists']})())")
    # What a page of the keeper before had asked for comes only now.
    in_module(page, "store", '(store) => store.keepPicture("una", "/f/late", new Blob(["x"]))')
    assert not page.evaluate(KEPT["lists"])
    signal(line, page, on=False)
    for path in ("today/", "birds/", f"birds/{coop.birds['Clove']}/"):
        page.goto(f"/f/{coop.flock}/{path}")
        page.wait_for_selector("text=Nothing to read on this phone yet.")
        assert "Clove" not in page.inner_text("main")


def test_a_record_whose_page_was_left_goes_out_by_itself(phones, coop, line):
    """While its page waits for the answer, nobody else sends it; and another page is sending."""
    page, before = phones("una", worker=False), checks(coop)
    other = page.context.new_page()
    other.goto(f"{line.url}/outbox/")
    page.clock.install()
    page.goto(check_page(coop, "Borage"))
    page.route("**/check/", lambda route: None)  # never answered
    both_feet_clear(page)
    until(page, KEPT["entries"])
    other.evaluate(
        """() => { navigator.locks.request("outbox", () => new Promise((done) => {
          window.release = done;
        })); }"""
    )
    page.goto(f"/f/{coop.flock}/today/")
    page.wait_for_selector("text=1 record waits on this phone")
    page.clock.run_for(20_000)
    other.wait_for_timeout(1000)
    assert waiting(page) == 1
    other.evaluate("window.release()")
    page.clock.run_for(10_000)
    all_sent(page)
    assert len(new_checks(coop, before)) == 1


def set_role(coop, keeper, role):
    path = Path(coop.installation.environment["FLOCKCARE_DATA"]) / "flockcare.sqlite3"
    with contextlib.closing(sqlite3.connect(path)) as database, database:
        database.execute(
            "UPDATE people_membership SET role = ? WHERE keeper_id = "
            "(SELECT id FROM people_keeper WHERE sign_in_name = ?)",
            (role, keeper),
        )


def test_what_is_refused_stays_with_its_reason_and_can_be_mended(phones, coop, line):
    page, before = phones("vic"), checks(coop)
    # No right any more, and then again.
    page.goto(check_page(coop, "Fennel"))
    set_role(coop, "vic", "viewer")
    try:
        both_feet_clear(page)
        page.wait_for_selector("text=You may not log for this flock any more.")
    finally:
        set_role(coop, "vic", "keeper")
    page.goto("/outbox/")
    page.wait_for_selector("li:has-text('Fennel: check, both feet clear') >> text=Refused:")
    page.wait_for_selector("text=1 is refused")
    assert not problems(page)
    page.locator("button:has-text('Try again')").tap()
    all_sent(page)
    # The phone's clock is two days ahead.
    signal(line, page, on=False)
    ahead = datetime.now(UTC) + timedelta(days=2, hours=1)
    page.clock.set_system_time(ahead)
    page.goto(check_page(coop, "Borage"))
    page.wait_for_selector("h1:has-text('Borage')")
    page.locator("text=Note, other photo, date").tap()
    page.fill("#id_note", "Stands on one leg.")
    both_feet_clear(page)
    page.wait_for_selector("text=Kept on this phone: Borage")
    signal(line, page, on=True)
    page.wait_for_selector("text=1 is refused")
    page.goto("/outbox/")
    page.wait_for_selector("text=This is in the future. Check the date and time.")
    page.wait_for_selector("text=The clock of this phone is 2 days ahead.")
    page.clock.set_system_time(datetime.now(UTC))
    page.locator("a:has-text('Correct')").tap()
    page.wait_for_selector("h1:has-text('Borage')")
    until(page, "document.querySelector('#id_note').value")
    assert page.input_value("#id_note") == "Stands on one leg."
    earlier = datetime.now(UTC) - timedelta(hours=2)
    page.fill("#id_at", earlier.strftime("%Y-%m-%dT%H:%M"))
    both_feet_clear(page)
    page.wait_for_selector("text=Saved: Borage, both feet clear")
    assert waiting(page) == 0
    assert len(new_checks(coop, before)) == 2
    # It is three days behind: such a check is stored, and the page says so.
    signal(line, page, on=False)
    page.clock.set_system_time(datetime.now(UTC) - timedelta(days=3, hours=1))
    page.goto(check_page(coop, "Dill"))
    page.wait_for_selector("h1:has-text('Dill')")
    both_feet_clear(page)
    page.wait_for_selector("text=Kept on this phone: Dill")
    signal(line, page, on=True)
    page.wait_for_selector("text=The clock of this phone is 3 days behind.")
    page.clock.set_system_time(datetime.now(UTC))
    assert len(new_checks(coop, before)) == 3
    # What nobody wants is discarded, but only when asked.
    signal(line, page, on=False)
    page.goto(check_page(coop, "Anise"))
    page.wait_for_selector("h1:has-text('Anise')")
    both_feet_clear(page)
    page.wait_for_selector("text=Kept on this phone: Anise")
    page.goto("/outbox/")
    asked = []
    page.once("dialog", lambda dialog: (asked.append(dialog.message), dialog.dismiss()))
    page.locator("button:has-text('Discard')").tap()
    assert "Discard “Anise: check, both feet clear”?" in asked[0]
    assert waiting(page) == 1
    page.once("dialog", lambda dialog: dialog.accept())
    page.locator("button:has-text('Discard')").tap()
    all_sent(page)
    assert len(new_checks(coop, before)) == 3


def test_what_a_full_computer_at_home_cannot_take_waits_and_says_why(phones, coop, line):
    page, before = phones("una", worker=False), checks(coop)
    full = json.dumps({"key": "", "reasons": [WORDS]})

    def no_room(route):
        if route.request.method == "POST":
            route.fulfill(status=507, content_type="application/json", body=full)
        else:
            route.continue_()

    page.route("**/*", no_room)
    page.goto(check_page(coop, "Fennel"))
    both_feet_clear(page)
    page.wait_for_selector("text=It is sent when Flockcare’s computer has room again.")
    page.goto("/outbox/")
    page.wait_for_selector(f"li:has-text('Fennel: check, both feet clear') >> text={WORDS}")
    page.wait_for_selector("text=1 record waits on this phone, Flockcare’s computer is full")
    assert page.locator("text=Refused").count() == 0
    page.unroute("**/*")
    page.locator("#send-now").tap()
    all_sent(page)
    assert len(new_checks(coop, before)) == 1


def fill_storage(page):
    """From now on this browser has no room for anything more."""
    page.evaluate(
        """() => { IDBObjectStore.prototype.put = () => {
          throw new DOMException("No room.", "QuotaExceededError");
        }; }"""
    )


def test_a_full_phone_and_one_that_clears_its_store(phones, coop, line):
    page, before = phones("una"), checks(coop)
    page.goto(check_page(coop, "Clove"))
    page.locator("text=Note, other photo, date").tap()
    page.fill("#id_note", "Nothing of this may be lost.")
    fill_storage(page)
    signal(line, page, on=False)
    both_feet_clear(page)
    page.wait_for_selector("text=no room on this phone to save this")
    assert page.input_value("#id_note") == "Nothing of this may be lost."
    signal(line, page, on=True)
    both_feet_clear(page)
    page.wait_for_selector("text=Saved: Clove, both feet clear")
    assert len(new_checks(coop, before)) == 1
    # Whatever the browser throws away, it throws away all of it, and the page says so.
    signal(line, page, on=False)
    page.goto(check_page(coop, "Lovage"))
    page.wait_for_selector("h1:has-text('Lovage')")
    both_feet_clear(page)
    page.wait_for_selector("text=Kept on this phone: Lovage")
    page.goto("/outbox/")
    page.wait_for_selector("text=Lovage: check, both feet clear")
    assert page.locator("#outbox-kept").inner_text()
    page.goto("about:blank")
    everything = "indexeddb,local_storage,cache_storage,service_workers"
    page.context.new_cdp_session(page).send(
        "Storage.clearDataForOrigin", {"origin": line.url, "storageTypes": everything}
    )
    signal(line, page, on=True)
    page.goto(f"/f/{coop.flock}/today/")
    page.wait_for_selector("text=1 record that waited here is gone")
    page.locator("#outbox-bar a").tap()
    page.locator("button:has-text('I have seen this')").tap()
    page.wait_for_selector("#outbox-bar", state="hidden")
    page.goto(f"/f/{coop.flock}/today/")
    until(page, KEPT["lists"])
    assert page.locator("#outbox-bar").is_hidden()


# As the first version of these pages has kept it on phones; it has to be readable for ever.
OLD_ENTRY = {
    "format": 1,
    "key": "0e2ff2cb-46f4-4c62-9d6c-1a6d0c0a7d55",
    "kind": "check",
    "birdName": "Saffron",
    "keeperName": "Una",
    "fields": [["well", "on"], ["verdict", "both clear"]],
    "made": "2026-03-01T08:00:00.000Z",
    "state": "waiting",
    "reasons": [],
    "stored": None,
}


def test_old_entries_newer_ones_and_a_new_version(phones, coop, line, tmp_path):
    page, before = phones("una"), checks(coop)
    keeper = page.evaluate("document.body.dataset.keeper")
    own = {"keeper": keeper, "flock": coop.flock, "bird": coop.birds["Saffron"]}
    old = {**OLD_ENTRY, **own}
    old["fields"] = [["at", "2026-03-01T09:00"], *old["fields"]]
    newer = {**old, "format": 99, "key": "8a3ff2cb-46f4-4c62-9d6c-1a6d0c0a7d99"}
    put(page, old, newer)
    sent_when_it_comes_back(page, left=1)
    (key,) = new_checks(coop, before)
    assert key == OLD_ENTRY["key"].replace("-", "")
    page.goto("/outbox/")
    page.wait_for_selector("text=logged with a newer version")
    # A step from each form to the next, in order.
    upgraded = in_module(
        page,
        "entries",
        """(module) => module.upgraded({format: 1, fields: {a: "b"}}, {format: 3, upgrades: {
          1: (entry) => ({...entry, fields: Object.entries(entry.fields)}),
          2: (entry) => ({...entry, fields: [...entry.fields, ["c", "d"]]}),
        }})""",
    )
    assert upgraded == {"format": 3, "fields": [["a", "b"], ["c", "d"]]}
    # A visit to the vet from before the app asked for a medicine: nobody knows.
    visit = in_module(
        page,
        "entries",
        """(module) => module.upgraded({format: 1, kind: "step", fields: [["kind", "vet"]]})""",
    )
    assert visit["fields"] == [["kind", "vet"], ["medicine_given", "unknown"]]
    # A new version is offered, and comes when it is asked for.
    line.newer = b"\n// newer"
    page.reload()
    page.wait_for_selector("text=A new version is ready.")
    page.locator("#new-version button").tap()
    page.wait_for_selector("#new-version", state="hidden")
    until(page, "navigator.serviceWorker.getRegistration().then((one) => !one.waiting)")
    line.newer = b""


def put(page, *entries):
    page.evaluate(
        """(entries) => new Promise((resolve, reject) => {
          const asked = indexedDB.open("flockcare");
          asked.onsuccess = () => {
            const work = asked.result.transaction("entries", "readwrite");
            for (const entry of entries) work.objectStore("entries").put(entry);
            work.oncomplete = () => { asked.result.close(); resolve(); };
            work.onabort = () => reject(work.error);
          };
        })""",
        list(entries),
    )


def sent_when_it_comes_back(page, *, left: int):
    come_back(page)
    until(page, f"async () => (await ({KEPT['entries']})()) === {left}")


def in_module(page, name: str, deed: str):
    """The result of a function of one of our modules, under whatever name it is served."""
    find = """async (name) => {
      const loaded = performance.getEntriesByType("resource").map((one) => one.name);
      const worker = await fetch("/worker.js").then((answer) => answer.text(), () => "");
      const ours = new RegExp(`/static/js/outbox/${name}\\.[^" ]*`);
      return [...loaded, worker].join(" ").match(ours)[0];
    }"""
    address = page.evaluate(find, name)
    return page.evaluate(f"async () => ({deed})(await import('{address}'))")


def test_a_large_photo_keeps_its_date_and_two_phones_send_the_same(phones, coop, line, tmp_path):
    page, other, before = phones("una"), phones("una"), checks(coop)
    signal(line, page, on=False)
    page.goto(check_page(coop, "Caraway"))
    page.wait_for_selector("h1:has-text('Caraway')")
    page.locator(".foot-right .over-0").tap()
    page.locator(".part-right label:has-text('Mild')").tap()
    page.set_input_files("#id_right-photos", large_photo(tmp_path))
    page.locator("text=will be sent with the check").wait_for()
    page.locator("button:has-text('Save check')").tap()
    page.wait_for_selector("text=Kept on this phone: Caraway")
    page.goto("/outbox/")
    page.wait_for_selector("text=1 photo")
    with page.expect_download() as download:
        page.locator("#export").tap()
    saved = tmp_path / "waiting.json"
    download.value.save_as(saved)
    other.goto("/outbox/")
    other.set_input_files("#take-back", saved)
    until(other, KEPT["entries"])
    signal(line, page, on=True)
    come_back(other)
    for phone in (page, other):
        sent_in_the_end(phone)
    (key,) = new_checks(coop, before)
    asked = (
        "SELECT p.width, p.height, p.taken, p.foot FROM photos_photo p "
        "JOIN feet_check_photos c ON c.photo_id = p.id WHERE c.check_id = ?"
    )
    ((width, height, taken, foot),) = rows(coop, asked, key)
    # 4200 × 4800 turned by the camera's mark: upright it is wider than high.
    assert 11_900_000 < width * height <= 12_000_000
    assert width > height
    assert taken.startswith("2026-02-03 10:11:12")
    assert foot == "right"


def test_the_line_drops_after_the_upload_and_the_phone_tries_again_while_the_server_reads_it(
    phones, coop, line, tmp_path
):
    """Two requests with one key are at work at once: whichever ends first, the photo is stored
    once and whole."""
    page, before = phones("una"), checks(coop)
    signal(line, page, on=False)
    page.goto(check_page(coop, "Dill"))
    page.wait_for_selector("h1:has-text('Dill')")
    page.locator(".foot-right .over-0").tap()
    page.locator(".part-right label:has-text('Mild')").tap()
    page.set_input_files("#id_right-photos", grainy_photo(tmp_path))
    page.locator("text=will be sent with the check").wait_for()
    page.locator("button:has-text('Save check')").tap()
    page.wait_for_selector("text=Kept on this phone: Dill")
    line.asked.clear()
    # The last of it, once all its parts are there.
    line.cut(r"POST .*/outbox/photos/[^/]+/$", "dropped")
    signal(line, page, on=True)

    def sendings():
        return [one for one in line.asked if re.search(r"/outbox/photos/[^/]+/$", one.request)]

    for _ in range(400):
        if len(sendings()) > 1:
            break
        come_back(page)
        page.wait_for_timeout(50)
    sent_in_the_end(page, seconds=60)
    for _ in range(600):
        if all(asked.ended for asked in sendings()):
            break
        page.wait_for_timeout(100)
    first, again = sendings()[:2]
    assert again.begun < first.ended, "The server had done with the first one already."
    assert {asked.status for asked in sendings()} == {201}
    assert len({asked.request for asked in sendings()}) == 1
    assert list(new_checks(coop, before).values()) == [1]
    (key,) = {asked.request.split("/")[-2] for asked in sendings()}
    assert rows(coop, "SELECT COUNT(*) FROM photos_photo WHERE id = ?", key.replace("-", "")) == [
        (1,)
    ]
    for name in ("full", "1600", "800", "240"):
        answer = page.request.get(f"/f/{coop.flock}/photos/{key}/{name}.jpg")
        assert answer.status == 200
        Image.open(io.BytesIO(answer.body())).load()  # OSError where the file is cut off
    folder = Path(coop.installation.environment["FLOCKCARE_DATA"]) / "files" / "photos"
    kept = sorted(path.name.partition("-")[0] for path in (folder / coop.flock / key).iterdir())
    assert kept == ["1600", "240", "800", "full"]


def grainy_photo(folder):
    """12 megapixels that take long to read and to write, as all that is not of one colour."""
    path = folder / "grainy.jpg"
    grain = Image.effect_noise((4000, 3000), 60)
    Image.merge("RGB", (grain, grain.rotate(180), grain)).save(path, quality=90)
    return path


def large_photo(folder):
    path = folder / "large.jpg"
    exif = Image.Exif()
    exif[0x0112] = 6
    exif.get_ifd(0x8769)[0x9003] = "2026:02:03 10:11:12"
    Image.new("RGB", (4200, 4800), "tan").save(path, exif=exif)
    return path


PAUSED = """({ setNote }) => setNote("pause", { tries: 9, until: Date.now() + 900_000 })"""


@pytest.mark.parametrize("again", ["a page that loads", "the page that is seen again"])
def test_what_waits_goes_out_at_once_however_long_it_was_in_vain(phones, coop, line, again):
    page, before = phones("una"), checks(coop)
    line.down = True  # of which the browser knows nothing
    page.goto(check_page(coop, "Dill"))
    both_feet_clear(page)
    page.wait_for_selector("text=Kept on this phone: Dill")
    page.wait_for_selector("text=1 record waits on this phone")
    in_module(page, "store", PAUSED)
    line.down = False
    if again == "a page that loads":
        page.goto(f"/f/{coop.flock}/today/")
    else:
        page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
    until(page, f"async () => !(await ({KEPT['entries']})())", seconds=4)
    assert list(new_checks(coop, before).values()) == [0]


def test_a_check_that_waits_is_undone_with_one_tap(phones, coop, line):
    page, before = phones("una"), checks(coop)
    signal(line, page, on=False)
    page.goto(check_page(coop, "Dill"))
    both_feet_clear(page)
    kept = page.locator(".notice:has-text('Kept on this phone: Dill')")
    undo = kept.locator("button:has-text('Undo')")
    expect(undo).to_be_visible()
    assert undo.bounding_box()["height"] >= 48
    undo.tap()
    expect(page.locator(".notice:has-text('Undone: Dill')")).to_be_visible()
    expect(page.locator("#outbox-bar")).to_be_hidden()
    assert waiting(page) == 0
    # Sent meanwhile it is not undone, and the words say so.
    page.goto(check_page(coop, "Dill"))
    both_feet_clear(page)
    expect(undo).to_be_visible()
    line.down = False
    page.context.set_offline(False)
    all_sent(page)
    undo.tap()
    expect(page.locator(".notice:has-text('Sent already: Dill')")).to_be_visible()
    assert len(new_checks(coop, before)) == 1


def test_a_line_that_gives_nothing_is_no_signal(phones, coop, line):
    """One bar: the request goes out and nothing comes. The form opens from the phone by itself."""
    page = phones("una")
    line.slow = 8
    page.goto(check_page(coop, "Dill"))
    assert page.evaluate("document.body.dataset.shell") == "form"
    page.wait_for_selector("h1:has-text('Dill')")


def test_care_and_weighings_wait_too_and_nothing_private_is_cached(phones, coop, line):
    page = phones("una")
    for path in ("", f"birds/{coop.birds['Mace']}/", "more/", "birds/"):
        page.goto(f"/f/{coop.flock}/{path or 'today/'}")
    cached = page.evaluate(
        """async () => {
          const found = [];
          for (const name of await caches.keys()) {
            for (const request of await (await caches.open(name)).keys()) {
              found.push(new URL(request.url).pathname);
            }
          }
          return found;
        }"""
    )
    assert len(cached) > 10
    assert not [path for path in cached if not path.startswith(("/static/", "/no-signal/"))]
    page.goto(f"/f/{coop.flock}/more/")
    signal(line, page, on=False)
    page.locator("button:has-text('Sign out')").tap()
    page.wait_for_selector("h1:has-text('No signal')")
    page.goto(f"/f/{coop.flock}/trends/")
    page.wait_for_selector("h1:has-text('No signal')")
    assert not problems(page)
    page.locator("label:has-text('Care given')").tap()
    page.locator(".bird-row:has-text('Mace')").tap()
    page.wait_for_selector("h1:has-text('Mace')")
    page.locator("label:has-text('soaked')").tap()
    page.locator("button:has-text('Save')").tap()
    page.wait_for_selector("text=Kept on this phone: Mace: care given, soaked")
    page.locator("label:has-text('Weighing')").tap()
    page.locator(".bird-row:has-text('Mace')").tap()
    page.wait_for_selector("h1:has-text('Mace')")
    page.fill("[name=grams]", "2.35")
    page.locator("button:has-text('Save the weighing')").tap()
    page.wait_for_selector("text=Kept on this phone: Mace: weighing, 2.35 kg")
    assert waiting(page) == 2
    signal(line, page, on=True)
    all_sent(page)
    asked = (
        "SELECT s.kind, k.sign_in_name FROM care_carestep s "
        "JOIN people_keeper k ON k.id = s.keeper_id"
    )
    assert ("soaked", "una") in rows(coop, asked)
    assert rows(coop, "SELECT grams FROM birds_weighing WHERE grams = 2350") == [(2350,)]


def test_over_plain_http_it_waits_while_the_page_is_open(browser, coop, line):
    before = checks(coop)
    address = line.url.replace("127.0.0.1", "coop.test")
    context = browser.new_context(viewport=PHONE, has_touch=True, base_url=address)
    context.add_cookies(
        [{"name": "flockcare_session", "value": coop.sessions["una"], "url": address}]
    )
    page = context.new_page()
    page.set_default_timeout(20_000)
    page.goto(f"/f/{coop.flock}/today/")
    assert page.evaluate("!window.isSecureContext && !navigator.locks && !crypto.randomUUID")
    until(page, KEPT["lists"])
    page.goto(check_page(coop, "Chervil"))
    signal(line, page, on=False)
    both_feet_clear(page)
    page.wait_for_selector("text=Kept on this phone: Chervil")
    page.wait_for_selector("text=Leave this page open until it is sent")
    page.locator(".bird-row:has-text('Sorrel')").tap()
    page.wait_for_selector("h1:has-text('Sorrel')")
    page.locator(".foot-left .over-0").tap()
    page.locator(".part-left label:has-text('Mild')").tap()
    page.locator("button:has-text('Save check')").tap()
    page.wait_for_selector("text=Kept on this phone: Sorrel: check, left foot mild")
    assert waiting(page) == 2
    signal(line, page, on=True)
    all_sent(page)
    page.goto("/outbox/")
    page.wait_for_selector("text=This page came over plain HTTP.")
    keys = new_checks(coop, before)
    asked = "SELECT b.name FROM feet_check c JOIN birds_bird b ON b.id = c.bird_id WHERE c.id = ?"
    assert {rows(coop, asked, key)[0][0] for key in keys} == {"Chervil", "Sorrel"}
    context.close()


def test_without_signal_it_asks_whether_a_known_sore_has_healed(phones, coop, line):
    theirs = phones("vic")
    theirs.goto(check_page(coop, "Caraway"))
    theirs.locator(".foot-right .over-0").tap()
    theirs.locator("label.other-left").tap()
    theirs.locator("button:has-text('Save check')").tap()
    theirs.wait_for_selector("text=Saved: Caraway, left foot clear, right foot mild")
    # This phone fetches the birds after that.
    page, before = phones("una"), checks(coop)
    signal(line, page, on=False)
    page.goto(check_page(coop, "Caraway"))
    # What was found last, as this phone keeps it.
    page.wait_for_selector(".last-known:has-text('Right foot: mild, sore since')")
    page.locator("button:has-text('Both feet clear')").tap()
    page.wait_for_selector(".healed:has-text('Right foot healed?')")
    page.locator(".healed button:has-text('Not checked closely')").tap()
    page.wait_for_selector("text=Kept on this phone: Caraway: check, left foot clear")
    page.goto(f"/f/{coop.flock}/birds/{coop.birds['Caraway']}/")
    page.wait_for_selector(".waits-here")
    # Told twice at once that what waits has changed, it still says it once.
    told = """async ({ changed }) => {
      changed.dispatchEvent(new Event("change"));
      changed.dispatchEvent(new Event("change"));
      await new Promise((resolve) => setTimeout(resolve, 500));
    }"""
    in_module(page, "page", told)
    waits = page.locator(".waits-here").inner_text()
    assert re.search(r"\(\d{1,2} [A-Z][a-z]+, \d\d:\d\d\)$", waits), waits
    signal(line, page, on=True)
    all_sent(page)
    page.wait_for_selector(".notice:has-text('Sent: Caraway, ')")
    (key,) = new_checks(coop, before)
    said = rows(coop, "SELECT foot, score FROM feet_footfinding WHERE check_record_id = ?", key)
    assert said == [("left", 0)]


def due_line(page, coop, bird):
    return page.locator(f".due-line[data-bird='{coop.birds[bird]}']")


def steps_of(coop, bird) -> list[tuple]:
    asked = "SELECT kind FROM care_carestep WHERE bird_id = ? ORDER BY at, logged_at"
    return [kind for (kind,) in rows(coop, asked, coop.birds[bird].replace("-", ""))]


def test_what_is_due_is_done_with_one_tap_without_signal(phones, coop, line):
    """It waits, can be undone while it does, and is sent once."""
    coop.installation.run("tests/browser/prepare_dressing.py", coop.flock, coop.birds["Anise"])
    page = phones("una")
    signal(line, page, on=False)
    page.goto("/")
    due = due_line(page, coop, "Anise")
    due.locator("button:has-text('Checked')").wait_for()
    for button in due.locator("button").all():
        assert button.bounding_box()["height"] >= 48
    due.locator("button:has-text('Checked')").tap()
    due.locator("text=/Waits on this phone: .*dressing checked \\(/").wait_for()
    assert waiting(page) == 1
    first = page.locator(".answer")
    first.locator("text=Done on this phone, not sent yet: Anise").wait_for()
    assert not due.locator("button[data-kinds]").first.is_visible()
    assert not problems(page)
    due.locator("button:has-text('Undo')").tap()
    due.locator("button:has-text('Changed')").wait_for()
    assert waiting(page) == 0
    assert "not sent yet" not in first.inner_text()
    # Also on her own page, and as often as a finger taps.
    page.goto(f"/f/{coop.flock}/birds/{coop.birds['Anise']}/")
    due = due_line(page, coop, "Anise")
    changed = due.locator("button:has-text('Changed')")
    changed.wait_for()
    changed.evaluate("(button) => { button.click(); button.click(); }")
    due.locator("text=/Waits on this phone: .*dressing changed/").wait_for()
    assert waiting(page) == 1
    page.goto("/outbox/")
    page.wait_for_selector("text=Anise: care given")
    page.goto(f"/f/{coop.flock}/today/")
    due = due_line(page, coop, "Anise")
    due.locator("text=/Waits on this phone: .*dressing changed/").wait_for()
    signal(line, page, on=True)
    all_sent(page)
    # And what the phone keeps is as it is then.
    due.wait_for(state="detached")
    assert steps_of(coop, "Anise") == ["dressing on", "dressing changed"]


def test_who_looked_first_says_nothing_after_who_looked_later(phones, coop, line):
    """What was undone while a slow look at the store was on its way is not shown once more."""
    coop.installation.run("tests/browser/prepare_dressing.py", coop.flock, coop.birds["Lovage"])
    page = phones("una")
    signal(line, page, on=False)
    page.goto("/")
    due = due_line(page, coop, "Lovage")
    checked = due.locator("button[data-kinds]:has-text('Checked')")
    checked.tap()
    due.locator("text=Waits on this phone").wait_for()
    # The next look at what waits hears its answer a second late.
    page.evaluate("""() => {
      const begin = IDBDatabase.prototype.transaction;
      IDBDatabase.prototype.transaction = function (names, mode, ...more) {
        const transaction = begin.call(this, names, mode, ...more);
        if (names !== "entries" || mode !== "readonly") return transaction;
        IDBDatabase.prototype.transaction = begin;
        Object.defineProperty(transaction, "oncomplete", {
          set: (told) => transaction.addEventListener("complete", () => setTimeout(told, 1000)),
        });
        return transaction;
      };
    }""")
    in_module(page, "page", '({ changed }) => changed.dispatchEvent(new Event("change"))')
    due.locator("button:has-text('Undo')").tap()
    checked.wait_for()
    page.wait_for_timeout(1500)
    assert checked.is_visible()
    assert "not sent yet" not in page.locator(".answer").inner_text()
    signal(line, page, on=True)


def test_today_goes_on_as_the_phone_keeps_it_where_the_signal_is_lost(phones, coop, line):
    coop.installation.run("tests/browser/prepare_dressing.py", coop.flock, coop.birds["Tansy"])
    page = phones("una")
    row = page.locator(".standing-row:has-text('Tansy')")
    row.locator("button:has-text('Changed')").wait_for()
    signal(line, page, on=False)
    row.locator("button:has-text('Changed')").tap()
    page.locator(".notice.error a:has-text('Go on without signal')").tap()
    due = due_line(page, coop, "Tansy")
    due.locator("button:has-text('Changed')").tap()
    due.locator("text=/Waits on this phone: .*dressing changed/").wait_for()
    signal(line, page, on=True)
    all_sent(page)
    assert steps_of(coop, "Tansy")[-1] == "dressing changed"


def test_two_keepers_who_did_the_same_are_told_and_none_is_lost(phones, coop, line):
    coop.installation.run("tests/browser/prepare_dressing.py", coop.flock, coop.birds["Saffron"])
    page, theirs = phones("una"), phones("vic")
    page.context.set_offline(True)
    page.goto("/")
    due = due_line(page, coop, "Saffron")
    due.locator("button:has-text('Changed')").tap()
    due.locator("text=Waits on this phone").wait_for()
    theirs.goto(f"/f/{coop.flock}/today/")
    row = theirs.locator(".standing-row:has-text('Saffron')")
    row.locator(".due-line button:has-text('Changed')").tap()
    theirs.locator(".due-line.saved").wait_for()
    page.context.set_offline(False)
    page.wait_for_selector("text=1 is refused")
    page.goto("/outbox/")
    page.wait_for_selector("text=Vic has done this already")
    assert page.locator("a:has-text('Open what is saved')").is_visible()
    assert not problems(page)
    assert steps_of(coop, "Saffron") == ["dressing on", "dressing changed"]
    page.locator("button:has-text('Save mine as well')").tap()
    all_sent(page)
    assert steps_of(coop, "Saffron") == ["dressing on", "dressing changed", "dressing changed"]


def test_a_known_sore_is_still_the_same_without_signal(phones, coop, line):
    theirs = phones("vic")
    theirs.goto(check_page(coop, "Chervil"))
    theirs.locator(".foot-left .over-0").tap()
    theirs.locator(".part-left label:has-text('Swollen')").tap()
    theirs.locator("label.other-right").tap()
    theirs.locator("button:has-text('Save check')").tap()
    theirs.wait_for_selector("text=Saved: Chervil")
    page = phones("una")
    said = "SELECT f.foot, f.score, f.sites FROM feet_footfinding f WHERE f.check_record_id = ?"
    for tap, words, feet in (
        ("Left foot still the same", "left foot still the same", ["left"]),
        ("Both still the same", "still the same", ["left", "right"]),
    ):
        before = checks(coop)
        signal(line, page, on=False)
        page.goto(check_page(coop, "Chervil"))
        chip = page.locator("label:has-text('Left foot still the same')")
        chip.wait_for()
        assert chip.bounding_box()["height"] >= 48
        assert not problems(page)
        if tap.startswith("Left"):
            chip.tap()
            page.locator("button:has-text('Save check')").tap()
        else:
            page.locator(f"button:has-text('{tap}')").tap()
        page.wait_for_selector(f"text=Kept on this phone: Chervil: check, {words}")
        signal(line, page, on=True)
        all_sent(page)
        (key,) = new_checks(coop, before)
        found = {foot: (score, json.loads(sites)) for foot, score, sites in rows(coop, said, key)}
        assert found["left"] == (2, ["main"])
        assert sorted(found) == feet


def test_what_waits_is_mended_with_its_photos(phones, coop, line, tmp_path):
    page, before = phones("una"), checks(coop)
    signal(line, page, on=False)
    page.goto(check_page(coop, "Mace"))
    page.wait_for_selector("h1:has-text('Mace')")
    page.locator(".foot-left .over-0").tap()
    page.locator(".part-left label:has-text('Mild')").tap()
    both = [photo(tmp_path, colour) for colour in ("khaki", "coral")]
    page.set_input_files("#id_left-photos", both)
    page.locator("text=coral.jpg will be sent with the check").wait_for()
    page.locator("button:has-text('Save check')").tap()
    page.wait_for_selector("text=Kept on this phone: Mace: check, left foot mild")
    page.goto("/outbox/")
    page.wait_for_selector("text=2 photos")
    page.locator("a:has-text('Correct')").tap()
    page.locator("button[aria-label='Leave khaki.jpg out']").tap()
    assert page.locator("#id_left-sites_0").is_checked()
    page.locator(".part-left label:has-text('Swollen')").tap()
    page.locator("button:has-text('Save check')").tap()
    page.wait_for_selector("text=Kept on this phone: Mace: check, left foot swollen")
    assert waiting(page) == page.evaluate(KEPT["photos"]) == 1
    signal(line, page, on=True)
    all_sent(page)
    assert list(new_checks(coop, before).values()) == [1]

"""axe-core finds no violation on any page, light and dark, on a phone and on a laptop."""

import json

import pytest
from axe_playwright_python.base import AXE_SCRIPT

from tests.browser.conftest import LAPTOP, PHONE

PAGES = [
    "today/",
    "check/",
    "birds/",
    "birds/add/",
    "birds/add-many/",
    "birds/{bird}/",
    "birds/{bird}/edit/",
    "birds/{bird}/check/",
    "birds/{bird}/leave/",
    "birds/{bird}/vet/",
    "birds/{bird}/weighings/",
    "birds/{bird}/weighings/{weighing}/",
    "birds/{bird}/states/",
    "birds/{ill}/",
    "birds/{ill}/check/",
    "birds/{ill}/leave/",
    "birds/{ill}/states/",
    "birds/{ill}/states/{state}/",
    "birds/{ill}/vet/",
    "birds/breeds/",
    "photos/face/{bird}/",
    "checks/{check}/",
    "checks/{check}/edit/",
    "move/check/{check}/",
    "move/care/{step}/",
    "move/photo/{photo}/",
    "photos/{photo}/",
    "photos/{photo}/crop/",
    "photos/{photo}/measure/",
    "photos/{photo}/delete/",
    "photos/series/{bird}/left/",
    "photos/series/{bird}/right/",
    "photos/cards/",
    "photos/cards/sheets/",
    "photos/cards/sheets/?cards_for=bird&paper=a4&per_sheet=8",
    "photos/space/",
    "sort/",
    "sort/one/",
    "houses/",
    "houses/add/",
    "houses/add/?shape=raised",
    "houses/move/",
    "houses/{house}/",
    "houses/{house}/arrange/",
    "houses/{house}/change/",
    "houses/{house}/correct/",
    "houses/{house}/walk/",
    "houses/{house}/landing/",
    "houses/{house}/what-if/",
    "houses/birds/{bird}/",
    "care/",
    "care/birds/{bird}/",
    "care/birds/{bird}/step/",
    "care/birds/{bird}/step/?kind=ointment",
    "care/birds/{bird}/plan/",
    "care/tasks/",
    "care/tasks/settings/",
    "care/birds/{ill}/",
    "care/birds/{ill}/left/opening/",
    "care/birds/{bird}/left/opening/",
    "care/birds/{bird}/left/{check}/",
    "care/steps/{step}/",
    "care/repeats/",
    "care/holds/",
    "care/kit/",
    "care/kit/add/",
    "reminders/calendar/",
    "care/rules/",
    "care/dressing/",
    "care/medicines/",
    "care/medicine/give/",
    "care/medicine/record/",
    "care/vets/",
    "care/vets/add/",
    "care/vets/{vet}/",
    "sitter/",
    "coop-sheet/",
    "coop-sheet/type/",
    "trends/",
    "trends/cases/",
    "round/",
    "scales/",
    "no-signal/",
    "more/",
    "people/",
    "settings/",
    "delete/",
    "records/",
    "records/spreadsheet/",
    "history/",
    "history/{bird}/bird/",
    "vet/",
    "about/guide/",
    "about/sources/",
    "about/security/",
    "about/backup/",
]


# What lies outside a flock.
OTHER_PAGES = ["/flocks/", "/flocks/import/", "/outbox/", "/account/"]


@pytest.fixture(scope="module")
def keys(site) -> dict[str, str]:
    """Of a house, a vet, Mace with a record of each kind, and a hen that is ill."""
    bird, ill = site.birds["Mace"], site.birds["Clove"]
    said = site.installation.run("tests/browser/prepare_records.py", site.flock, bird, ill)
    return {"bird": bird, "house": site.house, **json.loads(said)}


# Only what is wrong comes back from the page: of a page that is in order axe finds a thousand
# places more, which took longer to hand over than to find.
FIND = """(options) => axe.run({...options, resultTypes: ["violations"]}).then((found) =>
  found.violations.flatMap((rule) => rule.nodes.map((node) =>
    `${rule.id}: ${node.html.slice(0, 160)} ${node.failureSummary}`)))"""


def problems(page, only: str = "") -> list[str]:
    """What axe finds; ``only``: by this rule."""
    if not page.evaluate("'axe' in window"):
        page.evaluate(AXE_SCRIPT)
    return page.evaluate(FIND, {"runOnly": {"type": "rule", "values": [only]}} if only else {})


def problems_in_both_schemes(page) -> list[str]:
    """In light by all rules; in dark by that of contrast, for only colours are others there."""
    found = problems(page)
    page.emulate_media(color_scheme="dark")
    found += problems(page, only="color-contrast")
    page.emulate_media(color_scheme="light")
    return found


@pytest.mark.parametrize("viewport", [PHONE, LAPTOP], ids=["phone", "laptop"])
def test_every_page(open_phone, site, keys, viewport, record_property):
    page = open_phone("ada", viewport=viewport)
    found = {}
    for path in [f"/f/{site.flock}/{path.format(**keys)}" for path in PAGES] + OTHER_PAGES:
        assert page.goto(path).status == 200, path
        wide = page.evaluate("document.documentElement.scrollWidth - window.innerWidth")
        assert wide <= 0, f"{path} is {wide} px wider than the screen"
        # The colours are the same on every screen.
        if list_ := problems_in_both_schemes(page) if viewport == PHONE else problems(page):
            found[path] = list_
    record_property("axe violations", sum(map(len, found.values())))
    assert not found


def test_pages_before_signing_in(browser, empty_site):
    context = browser.new_context(viewport=PHONE, base_url=empty_site.url)
    page = context.new_page()
    for path in ("/set-up/", "/sign-in/"):
        page.goto(path)
        assert not problems_in_both_schemes(page), path
    context.close()


def test_the_answer_to_a_wrong_form(open_phone, site):
    page = open_phone("ada")
    page.goto(f"/f/{site.flock}/birds/{site.birds['Dill']}/check/")
    page.locator("button:has-text('Save check')").tap()
    page.wait_for_selector("[role=alert]")
    assert not problems(page)

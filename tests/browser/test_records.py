"""Export and import in a real browser: a whole export, and a table of one's own by plain forms."""

import zipfile

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import PHONE
from tests.browser.test_accessibility import problems

TABLE = "Hen;When;Weight kg\n{bird};03/04/2024;2,1\nNobody;04/04/2024;2,0\n"


def test_an_export_arrives_whole_and_comes_back_as_a_flock(open_phone, site, tmp_path):
    page = open_phone("ada")
    page.goto(f"/f/{site.flock}/records/")
    assert not problems(page)
    with page.expect_download() as download:
        page.get_by_role("link", name="Export everything").click()
    path = tmp_path / download.value.suggested_filename
    download.value.save_as(path)
    assert path.suffix == ".zip" and download.value.failure() is None
    with zipfile.ZipFile(path) as archive:
        assert archive.testzip() is None
        birds = archive.read("birds.csv").decode().count("\r\n") - 1
    page.goto("/flocks/import/")
    assert not problems(page)
    page.get_by_label("Name of the new flock").fill("Second yard")
    page.get_by_label("The export").set_input_files(path)
    page.get_by_role("button", name="Import").click()
    # The page comes at once and renews itself until all is in.
    page.wait_for_url("**/flocks/import/*-*/")
    page.get_by_role("heading", name="All imported").wait_for(timeout=60_000)
    assert not problems(page)
    assert f"Imported: {birds} birds" in page.locator("main").inner_text()
    # Who closed the page finds it again; and all of it is undone in one go.
    done = page.url
    page.goto("/flocks/")
    page.goto(done)
    today = page.get_by_role("link", name="Open Second yard").get_attribute("href")
    page.get_by_role("link", name="Undo this import").click()
    page.get_by_role("button", name="Undo this import").click()
    page.get_by_text("Undone: Import of").first.wait_for(timeout=60_000)
    page.goto(today)
    page.wait_for_url("**/today/")
    assert "Three steps to begin" in page.locator("main").inner_text()
    # And away again: the name has to be typed.
    page.goto(page.url.replace("/today/", "/delete/"))
    assert not problems(page)
    page.get_by_label("Type the name of the flock").fill("Second yard")
    page.get_by_role("button", name="for good").click()
    page.wait_for_url("**/flocks/")
    assert "Second yard is deleted" in page.locator("main").inner_text()
    page.goto("/account/delete/")
    assert not problems(page)


@pytest.mark.parametrize("script", [True, False])
def test_a_table_of_ones_own_comes_in(browser, site, script):
    context = browser.new_context(
        viewport=PHONE, base_url=site.url, java_script_enabled=script, has_touch=True
    )
    context.add_cookies(
        [{"name": "flockcare_session", "value": site.sessions["ada"], "url": site.url}]
    )
    page = context.new_page()
    page.set_default_timeout(15_000)
    page.goto(f"/f/{site.flock}/birds/")
    bird = page.locator("main .row strong").first.inner_text().strip()
    page.goto(f"/f/{site.flock}/records/spreadsheet/")
    page.get_by_text("Weights: one row").click()
    day = "03" if script else "05"
    page.get_by_label("Or paste the rows").fill(
        TABLE.format(bird=bird).replace("03/04", f"{day}/04")
    )
    with page.expect_navigation():
        page.get_by_role("button", name="Next").click()
    if script:
        assert not problems(page)
        assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
    assert "can be read both ways" in page.locator("main").inner_text()
    page.get_by_text("the day", exact=True).click()
    with page.expect_navigation():
        page.get_by_role("button", name="Preview again").click()
    text = page.locator("main").inner_text()
    assert f"2024-04-{day}" in text and "2100" in text and "No bird is called “Nobody”" in text
    page.get_by_role("button", name="Import only the 1 good row").click()
    page.wait_for_url("**/birds/")
    expect(page.locator("main")).to_contain_text("1 row was left out")
    context.close()

"""How much the check page costs a slow line, and that nothing comes from elsewhere."""

import pytest

from flockcare.demo.paint import Foot, Sore, paint_foot


def with_photos_of_both_feet(page, site, bird, folder):
    """Two sores on record, each with its photo: the most that the form shows of what is known."""
    page.goto(f"/f/{site.flock}/birds/{site.birds[bird]}/check/")
    for seed, side in enumerate(("left", "right")):
        path = folder / f"{side}.jpg"
        paint_foot(Foot(side), seed=seed, sore=Sore(area_mm2=40)).image.save(path, quality=92)
        page.locator(f".foot-{side} .over-0").tap()
        page.set_input_files(f"#id_{side}-photos", path)
        page.wait_for_selector(f".part-{side} .kept-photos img[src*='240.jpg']")
    page.locator("button:has-text('Save check')").tap()
    page.wait_for_selector(f"text=Saved: {bird}")


@pytest.mark.parametrize("photos", [False, True])
def test_first_visit_of_the_check_page(
    browser, open_phone, site, record_property, tmp_path, photos
):
    bird = "Fennel" if photos else "Dill"
    if photos:
        with_photos_of_both_feet(open_phone("ada"), site, bird, tmp_path)
    # Of the server itself: what comes in pieces is not compressed.
    url = f"http://127.0.0.1:{site.installation.port}"
    context = browser.new_context(base_url=url)
    context.add_cookies([{"name": "flockcare_session", "value": site.sessions["ada"], "url": url}])
    page = context.new_page()
    network = context.new_cdp_session(page)
    network.send("Network.enable")
    sizes, addresses = [], []
    network.on("Network.loadingFinished", lambda event: sizes.append(event["encodedDataLength"]))
    network.on("Network.requestWillBeSent", lambda event: addresses.append(event["request"]["url"]))
    page.goto(f"/f/{site.flock}/birds/{site.birds[bird]}/check/")
    page.wait_for_load_state("networkidle")
    total = sum(sizes)
    print(f"check page, first visit: {total / 1000:.1f} kB in {len(sizes)} answers")
    assert len(sizes) >= 4
    assert page.locator(".known-foot img").count() == 2 * photos
    elsewhere = [each for each in addresses if not each.startswith((url, "data:"))]
    record_property("bytes", int(total))
    record_property("requests to others", len(elsewhere))
    assert total <= 100_000
    assert not elsewhere
    context.close()

"""How much the check page costs a slow line, and that nothing comes from elsewhere."""


def test_first_visit_of_the_check_page(browser, site, record_property):
    context = browser.new_context(base_url=site.url)
    context.add_cookies(
        [{"name": "flockcare_session", "value": site.sessions["ada"], "url": site.url}]
    )
    page = context.new_page()
    network = context.new_cdp_session(page)
    network.send("Network.enable")
    sizes, addresses = [], []
    network.on("Network.loadingFinished", lambda event: sizes.append(event["encodedDataLength"]))
    network.on("Network.requestWillBeSent", lambda event: addresses.append(event["request"]["url"]))
    page.goto(f"/f/{site.flock}/birds/{site.birds['Dill']}/check/")
    page.wait_for_load_state("networkidle")
    total = sum(sizes)
    print(f"check page, first visit: {total / 1000:.1f} kB in {len(sizes)} answers")
    assert len(sizes) >= 4
    elsewhere = [each for each in addresses if not each.startswith((site.url, "data:"))]
    record_property("bytes", int(total))
    record_property("requests to others", len(elsewhere))
    assert total <= 100_000
    assert not elsewhere
    context.close()

"""A reminder on a phone: the worker shows what was pushed, and nothing beside it."""

import json

from tests.browser.taps import until, until_held
from tests.browser.test_offline import line, phones  # noqa: F401


def test_a_pushed_reminder_is_shown(phones, coop, line):  # noqa: F811
    page = phones("una")
    page.context.grant_permissions(["notifications"], origin=line.url)
    page.goto(f"/f/{coop.flock}/reminders/")
    page.wait_for_selector("button:has-text('Send reminders to this phone')")
    found = []
    session = page.context.new_cdp_session(page)
    session.on(
        "ServiceWorker.workerRegistrationUpdated",
        lambda event: found.extend(event["registrations"]),
    )
    session.send("ServiceWorker.enable")
    until(page, "navigator.serviceWorker.ready.then(() => true)")
    until_held(page, found)
    told = {"body": "2 things are due today in the coop.", "url": "/f/x/today/", "tag": "x"}
    for data in (json.dumps(told), "spoilt"):
        pushed = {"origin": line.url, "registrationId": found[-1]["registrationId"]}
        session.send("ServiceWorker.deliverPushMessage", {**pushed, "data": data})
    shown = page.evaluate(
        """async () => {
          const worker = await navigator.serviceWorker.ready;
          for (let tries = 0; tries < 50; tries++) {
            const all = await worker.getNotifications();
            if (all.length > 1) return all.map(({ body, data }) => [body, data.url]).sort();
            await new Promise((resolve) => setTimeout(resolve, 100));
          }
        }"""
    )
    assert shown == [
        ["2 things are due today in the coop.", "/f/x/today/"],
        ["Something is due today in the coop.", "/"],
    ]

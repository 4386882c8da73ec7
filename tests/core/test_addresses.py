import uuid

import pytest
from django.template import Context, Template
from django.urls import reverse, set_script_prefix

from flockcare.core.addresses import address, urls_of

FLOCK, BIRD = uuid.uuid4(), uuid.uuid4()


@pytest.mark.parametrize("prefix", ["/", "/hens/"])
def test_addresses_are_those_that_django_gives(prefix):
    set_script_prefix(prefix)
    try:
        assert address("people:flocks") == reverse("people:flocks")
        assert address("feet:today", FLOCK) == reverse("feet:today", args=[FLOCK])
        assert address("feet:bird", FLOCK, BIRD) == reverse("feet:bird", args=[FLOCK, BIRD])
        picture = urls_of("photos:file", FLOCK, 240)(BIRD)
        assert picture == reverse("photos:file", args=[FLOCK, BIRD, 240])
    finally:
        set_script_prefix("/")


def test_the_tag_gives_addresses_in_the_flock_of_the_page():
    shown = Template("{% to 'feet:bird' bird %}").render(
        Context({"flock": type("Flock", (), {"pk": FLOCK}), "bird": BIRD})
    )
    assert shown == reverse("feet:bird", args=[FLOCK, BIRD])

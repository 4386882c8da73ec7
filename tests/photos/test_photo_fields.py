"""Every form that takes photos has a button for the camera and one for the gallery; those of a foot
also one for the camera of the page's own, which script shows where there is one."""

import re
from io import BytesIO

import pytest

from tests.core.test_access import address, records

pytestmark = pytest.mark.django_db

# How many fields, and how many of them are for a foot.
FORMS = {
    "check_bird": (3, 2),
    "feet:check_edit": (3, 2),
    "care:step_new": (1, 1),
    "care:step": (1, 1),
    "housing:change": (1, 0),
    "housing:change_tell": (1, 0),
}


@pytest.mark.parametrize("name", FORMS)
def test_a_button_each_and_no_raw_field(cast, name):
    page = cast.clients.owner.get(address(name, cast.flock, records(cast.flock, cast.owner))).text
    inputs = re.findall(r"<input[^>]*type=\"file\"[^>]*>", page)
    cameras = [field for field in inputs if 'capture="environment"' in field]
    galleries = [field for field in inputs if "multiple" in field]
    fields, of_feet = FORMS[name]
    assert len(cameras) == len(galleries) == fields
    assert len(inputs) == 2 * fields
    assert len(re.findall(r'<button[^>]*class="plain open-camera" hidden>', page)) == of_feet
    assert page.count('<dialog class="camera"') == bool(of_feet)
    for field in inputs:
        assert 'class="visually-hidden"' in field
        key = re.search(r'id="([^"]+)"', field)[1]
        assert page.count(f'<label class="button plain" for="{key}">') == 1
    assert "js/photos.js" in page


def test_where_a_photo_was_refused_its_field_says_so(cast):
    found = records(cast.flock, cast.owner)
    url = address("care:step_new", cast.flock, found)
    broken = BytesIO(b"no picture")
    broken.name = "broken.jpg"
    page = cast.clients.owner.post(url, {"foot": "left", "kind": "soaked", "photos": broken}).text
    assert 'aria-describedby="id_photos_error"' in page and "broken.jpg" in page

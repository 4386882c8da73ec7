"""Every form that takes photos has a button for the camera and one for the gallery."""

import re
from io import BytesIO

import pytest

from tests.core.test_access import address, records

pytestmark = pytest.mark.django_db

FORMS = {
    "check_bird": 3,
    "feet:check_edit": 3,
    "care:step_new": 1,
    "care:step": 1,
    "housing:change": 1,
    "housing:change_tell": 1,
}


@pytest.mark.parametrize("name", FORMS)
def test_a_button_each_and_no_raw_field(cast, name):
    page = cast.clients.owner.get(address(name, cast.flock, records(cast.flock, cast.owner))).text
    inputs = re.findall(r"<input[^>]*type=\"file\"[^>]*>", page)
    cameras = [field for field in inputs if 'capture="environment"' in field]
    galleries = [field for field in inputs if "multiple" in field]
    assert len(cameras) == len(galleries) == FORMS[name]
    assert len(inputs) == 2 * FORMS[name]
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

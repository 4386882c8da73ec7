import gzip
import io

import pytest
from django.http import FileResponse, HttpResponse, JsonResponse
from django.test import RequestFactory
from django.urls import reverse

from flockcare.core.packing import PackText

ASKED = {"Accept-Encoding": "gzip"}
LONG = "hens " * 200


def packed(response, headers=ASKED):
    answer = PackText(lambda request: response)(RequestFactory().get("/", headers=headers))
    assert "Accept-Encoding" in answer.get("Vary", "") or not answer.has_header("Content-Encoding")
    return answer.get("Content-Encoding")


def test_text_is_packed_and_what_is_packed_already_is_not():
    assert packed(HttpResponse(LONG)) == "gzip"
    assert packed(JsonResponse({"said": LONG})) == "gzip"
    assert packed(HttpResponse(LONG, content_type="image/svg+xml")) == "gzip"
    assert packed(HttpResponse(LONG), headers={}) is None
    assert packed(HttpResponse(LONG, content_type="application/pdf")) is None
    assert packed(FileResponse(io.BytesIO(LONG.encode()), content_type="image/jpeg")) is None
    assert packed(FileResponse(io.BytesIO(LONG.encode()), content_type="text/csv")) is None


@pytest.mark.django_db
def test_the_length_of_a_packed_page_tells_nothing_exactly(cast):
    """Padding at random ("Heal the Breach"), and the token of a form masked anew."""
    url = reverse("today", args=[cast.flock.pk])
    answers = [cast.clients.owner.get(url, headers=ASKED) for _ in range(6)]
    assert {answer.headers["Content-Encoding"] for answer in answers} == {"gzip"}
    assert len({len(answer.content) for answer in answers}) > 1
    assert len({gzip.decompress(answer.content) for answer in answers}) == len(answers)

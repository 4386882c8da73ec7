"""One table of sources: found by name, told once, and no reading notes anywhere else."""

import re
from pathlib import Path

import pytest
from django.urls import reverse

from flockcare.backup.sources import PLACES
from flockcare.birds.breeds import PUBLISHED
from flockcare.care.rules import RULES
from flockcare.core.sources import (
    APA,
    BSAVA,
    PRACTICE,
    SOURCES,
    WELFARE_QUALITY,
    Reading,
    cited,
    sources_of,
)
from flockcare.feet.scales import SCALES
from flockcare.vetsheet.gather import _scales
from tests.people.rows import READ_PAGE, seen

ROOT = Path(__file__).resolve().parents[2]
NOTES = re.compile(
    r"from memory|abstract read|text read|not checked against|checked against the original"
    r"|which was read|secondary sources|as others quote",
    re.IGNORECASE,
)


def test_each_is_told_once():
    assert len({source.key for source in SOURCES}) == len(SOURCES)
    assert len({source.citation for source in SOURCES}) == len(SOURCES)
    for source in SOURCES:
        assert source.short and source.says.endswith(".")


@pytest.mark.parametrize(
    "text",
    [
        *(rule.source for rule in RULES),
        *(scale.source for scale in SCALES),
        *(published.source for published in PUBLISHED),
    ],
)
def test_whatever_a_table_names_is_on_the_page(text):
    assert sources_of(text)


def test_a_text_may_name_several_and_what_names_none_is_shown_as_it_is():
    assert sources_of("Welfare Quality (2009); BSAVA Manual") == (WELFARE_QUALITY, BSAVA)
    assert cited("Keepers") == PRACTICE.short
    assert cited("weighed by our own keepers") == "weighed by our own keepers"
    # As it stands in records of earlier years.
    old = "American Poultry Association, Standard of Perfection (from memory)"
    assert sources_of(old) == (APA,) and cited(old) == APA.short


@pytest.mark.django_db
def test_the_page_says_what_each_is_how_it_was_read_and_where_it_is_used(cast):
    address = f"/f/{cast.flock.pk}/about/sources/"
    assert seen(cast, address) == READ_PAGE
    page = cast.clients.viewer.get(address).text
    assert {source.reading for source in SOURCES} == set(Reading)
    for source in SOURCES:
        part = page.split(f'id="{source.key}"')[1].split("</section>")[0]
        assert source.reading in part
        used = [place for place in PLACES if source in place.sources]
        assert part.count("<a ") == len(used)
    assert f'href="{address}"' in cast.clients.viewer.get(f"/f/{cast.flock.pk}/more/").text


@pytest.mark.django_db
@pytest.mark.parametrize(
    "name",
    ["care:rules", "care:medicines", "care:dressing", "feet:about_scales"],
)
def test_a_page_names_its_sources_by_marks_that_lead_there(cast, name):
    place = next(place for place in PLACES if place.address == name)
    page = cast.clients.viewer.get(reverse(name, args=[cast.flock.pk])).text
    marks = set(re.findall(r"/about/sources/#([\w-]+)", page))
    assert marks == {source.key for source in place.sources}
    assert not NOTES.search(page)


@pytest.mark.parametrize("path", sorted((ROOT / "templates").rglob("*.html")), ids=str)
def test_no_template_says_how_a_source_was_read(path):
    assert path.name == "sources.html" or not NOTES.search(path.read_text())


def test_the_sheet_for_the_vet_names_sources_in_short():
    (scale,) = _scales([])
    assert scale.source == f"{WELFARE_QUALITY.short}, wording from memory"

import datetime as dt
import re
import xml.etree.ElementTree as ET
from itertools import pairwise
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from django.template.loader import render_to_string
from django.urls import reverse
from hypothesis import given
from hypothesis import strategies as st

from flockcare.birds.models import Weighing
from flockcare.care.models import CareStep
from flockcare.drawing.timeline import Band, Mark, Stretch, Timeline, Window, Zoom
from flockcare.drawing.timeline_svg import PHONE_WIDTH, draw
from flockcare.feet.cases import cases_of_bird
from flockcare.feet.layers import checks
from flockcare.feet.models import Check, FootFinding
from flockcare.housing.models import House, Stay
from flockcare.pages.timeline import choose_stretch, table_rows, timeline
from flockcare.photos.models import Photo

LONDON = ZoneInfo("Europe/London")
SVG = "{http://www.w3.org/2000/svg}"
TODAY = dt.date(2026, 5, 14)


def noon(*day):
    return dt.datetime(*day, 12, tzinfo=dt.UTC)


def check(bird, at, *, findings=(), **fields):
    made = Check.objects.create(flock=bird.flock, bird=bird, at=at, **fields)
    for finding in findings:
        FootFinding.objects.create(check_record=made, **finding)
    return made


def both(left, right):
    return [{"foot": "left", "score": left}, {"foot": "right", "score": right}]


def picture_of(shown, page="/bird/", title="Timeline"):
    return draw(*shown, page=page, title=title)


def drawn(shown, page="/bird/"):
    return ET.fromstring(picture_of(shown, page))  # noqa: S314 - our own


def table_of(shown):
    return render_to_string("pages/timeline_table.html", {"rows": table_rows(shown[0])})


def rows(shown):
    return ET.fromstring(table_of(shown)).findall(".//tbody/tr")  # noqa: S314 - our own


def links(svg):
    return [(link.get("href"), link.find(f"{SVG}title").text) for link in svg.iter(f"{SVG}a")]


# Which stretch


@pytest.mark.parametrize(
    ("last", "zoom", "first"),
    [
        # By hand on the calendar; February 2024 has 29 days, February 2026 has 28.
        (dt.date(2026, 5, 31), Zoom.MONTH, dt.date(2026, 5, 1)),
        (dt.date(2024, 2, 29), Zoom.MONTH, dt.date(2024, 2, 1)),
        (dt.date(2026, 2, 28), Zoom.MONTH, dt.date(2026, 2, 1)),
        (dt.date(2026, 5, 14), Zoom.MONTH, dt.date(2026, 4, 15)),
        (dt.date(2026, 5, 14), Zoom.SEASON, dt.date(2026, 2, 15)),
        (dt.date(2026, 5, 14), Zoom.YEAR, dt.date(2025, 5, 15)),
        (dt.date(2024, 12, 31), Zoom.YEAR, dt.date(2024, 1, 1)),
    ],
)
def test_a_stretch_is_whole_months_up_to_a_day(last, zoom, first):
    assert Stretch.ending(last, zoom, LONDON).window.first == first


days = st.dates(dt.date(1960, 1, 1), dt.date(2090, 12, 31))


@given(days, st.sampled_from(Zoom))
def test_stretches_follow_each_other_without_gap_and_their_slots_fill_them(last, zoom):
    here = Stretch.ending(last, zoom, LONDON)
    before = Stretch.ending(here.earlier, zoom, LONDON)
    assert before.window.last + dt.timedelta(1) == here.window.first
    assert Stretch.ending(here.later, zoom, LONDON).window.first <= last + dt.timedelta(1)
    slots = here.slots()
    assert slots[0][0] == here.window.first
    assert slots[-1][1] == last
    for (_, end), (start, _) in pairwise(slots):
        assert start == end + dt.timedelta(1)
    # WCAG 2.2, 2.5.8: targets of at least 24 px; days of a month are nearer than that and have
    # their equal in the table.
    if zoom is not Zoom.MONTH:
        narrowest = min((end - start).days + 1 for start, end in slots)
        assert narrowest / here.window.days * PHONE_WIDTH >= 24


@pytest.mark.parametrize(
    ("zoom", "until", "expected"),
    [
        ("", "", (Zoom.SEASON, TODAY)),
        ("month", "2026-03-31", (Zoom.MONTH, dt.date(2026, 3, 31))),
        ("week", "2026-02-30", (Zoom.SEASON, TODAY)),
        ("year", "2027-01-01", (Zoom.YEAR, TODAY)),
        ("year", "0001-01-01", (Zoom.YEAR, TODAY)),
        ("year", "<script>", (Zoom.YEAR, TODAY)),
    ],
)
def test_an_address_that_says_nonsense_shows_the_newest(zoom, until, expected):
    chosen = choose_stretch(zoom, until, last=TODAY, zone=LONDON)
    assert (chosen.zoom, chosen.window.last) == expected


def test_a_window_begins_and_ends_at_local_midnights():
    # tz database, Europe/London: 29 March 2026 has 23 hours, UTC+0 before and UTC+1 after.
    window = Window(dt.date(2026, 3, 29), dt.date(2026, 3, 29), LONDON)
    assert window.moments == (
        dt.datetime(2026, 3, 29, 0, tzinfo=dt.UTC),
        dt.datetime(2026, 3, 29, 23, tzinfo=dt.UTC),
    )
    assert window.days == 1


# What happened


@pytest.fixture
def busy(cast, birds):
    """Dill with something of every kind in May 2026."""
    dill = birds["Dill"]
    check(dill, noon(2026, 4, 20), findings=both(0, 0), keeper=cast.keeper)
    sore = check(
        dill,
        noon(2026, 5, 4),
        keeper=cast.keeper,
        gait=3,
        manner="dull",
        note="Limped on the ramp.",
        findings=[
            {
                "foot": "left",
                "score": 2,
                "sites": ["main", "toe II"],
                "scab": "black",
                "scab_mm": "6.5",
                "swelling": "from above",
                "hot": True,
            },
            {"foot": "right", "score": 0},
        ],
    )
    check(dill, noon(2026, 5, 11), keeper_name="Aunt Bee", findings=both(1, 0))
    CareStep.objects.create(
        flock=cast.flock,
        bird=dill,
        foot="left",
        kind="soaked",
        product="warm water",
        at=noon(2026, 5, 5),
        keeper=cast.owner,
    )
    CareStep.objects.create(flock=cast.flock, bird=dill, kind="vet", at=noon(2026, 5, 6))
    Weighing.objects.create(flock=cast.flock, bird=dill, on=dt.date(2026, 5, 2), grams=2950)
    Weighing.objects.create(flock=cast.flock, bird=dill, on=dt.date(2026, 5, 9), grams=3010)
    Photo.objects.create(
        flock=cast.flock,
        bird=dill,
        foot="left",
        taken=noon(2026, 5, 4),
        taken_precision="moment",
        width=800,
        height=600,
        stored_bytes=1,
        sha256="a" * 64,
        look_hash=0,
        keeper=cast.keeper,
    )
    shed = House.objects.create(flock=cast.flock, name="Cart Shed")
    orchard = House.objects.create(flock=cast.flock, name="Orchard House")
    Stay.objects.create(flock=cast.flock, bird=dill, house=shed, until=dt.date(2026, 4, 30))
    Stay.objects.create(flock=cast.flock, bird=dill, house=orchard, since=dt.date(2026, 5, 1))
    dill.sore_check = sore
    return dill


def story_of(bird, zoom=Zoom.MONTH, last=TODAY):
    """The timeline of a stretch, and the stretch."""
    stretch = Stretch.ending(last, zoom, LONDON)
    return timeline(bird, stretch.window, cases_of_bird(bird)), stretch


def test_a_finding_is_told_in_the_words_of_the_scales(busy):
    told = [m.label for m in checks(busy, Window(dt.date(2026, 5, 4), dt.date(2026, 5, 4), LONDON))]
    assert told == [
        "left foot 2 swollen, main pad and toe II (inner), black scab 6.5 mm, "
        "swelling seen from above, hot",
        "gait 3 obvious, dull: Limped on the ramp.",
        "right foot 0 clear",
    ]


def test_the_table_holds_every_record_once_newest_first(busy):
    cells = [["".join(td.itertext()) for td in row] for row in rows(story_of(busy))]
    assert cells == [
        ["11 May 2026", "left foot 1 mild; right foot 0 clear", "Aunt Bee"],
        ["9 May 2026", "weighed 3.01 kg", ""],
        ["6 May 2026", "vet", ""],
        ["5 May 2026", "left foot: soaked, warm water", "Owner"],
        [
            "4 May 2026",
            "left foot 2 swollen, main pad and toe II (inner), black scab 6.5 mm, swelling seen "
            "from above, hot; gait 3 obvious, dull: Limped on the ramp.; right foot 0 clear",
            "Keeper",
        ],
        ["4 May 2026", "photo of the left foot", "Keeper"],
        ["2 May 2026", "weighed 2.95 kg", ""],
        ["1 May 2026", "lived in Orchard House", ""],
        ["20 Apr 2026", "left foot 0 clear; right foot 0 clear", "Keeper"],
        ["always", "lived in Cart Shed, until 30 Apr 2026", ""],
    ]


@pytest.mark.parametrize("zoom", Zoom)
def test_drawing_and_table_hold_the_same_records(busy, zoom):
    """Every mark is drawn, each in a link, and every record of the marks has its row."""
    a_story = story_of(busy, zoom)
    svg = drawn(a_story)
    kinds = sorted(use.get("href").removeprefix("#tl-") for use in svg.iter(f"{SVG}use"))
    assert kinds == sorted(mark.kind for mark in a_story[0].marks if mark.lane != "photos")
    assert len(list(svg.iter(f"{SVG}image"))) == 1
    in_links = [use for link in svg.iter(f"{SVG}a") for use in link.iter(f"{SVG}use")]
    assert len(in_links) == len(kinds)
    addresses = {
        row.find("td/a").get("href") for row in rows(a_story) if row.find("td/a") is not None
    }
    assert addresses == {mark.url for mark in a_story[0].marks if mark.url}
    assert len(rows(a_story)) == 8 + 2


def test_each_mark_of_a_month_leads_to_its_record(busy):
    named = {title: href for href, title in links(drawn(story_of(busy)))}
    sore = reverse("feet:check", args=[busy.flock_id, busy.sore_check.pk])
    weighings = reverse("birds:weighings", args=[busy.flock_id, busy.pk])
    assert named["4 May 2026: right foot 0 clear (Keeper)"] == sore
    assert named["2 May 2026: weighed 2.95 kg"] == weighings
    step = CareStep.objects.get(bird=busy, kind="vet")
    assert named["6 May 2026: vet"] == reverse("care:step", args=[busy.flock_id, step.pk])
    known = {f"#{row.get('id')}" for row in rows(story_of(busy))}
    assert {href for href in named.values() if href.startswith("#")} <= known


def test_near_neighbours_share_one_link_that_opens_their_month(busy):
    svg = drawn(story_of(busy, Zoom.YEAR), page="/bird/")
    assert (
        "/bird/?zoom=month&until=2026-05-14#timeline",
        "15 Apr – 14 May 2026: left foot, 3 checks, worst score 2. Open this month.",
    ) in links(svg)
    # And the month that opens does show them.
    opened = choose_stretch("month", "2026-05-14", last=TODAY, zone=LONDON)
    assert opened.window.first <= dt.date(2026, 4, 20)


def percentages(node, *names):
    return [float(node.get(name).removesuffix("%")) for name in names]


def test_a_case_is_solid_where_seen_and_fades_where_nobody_knows(busy):
    svg = drawn(story_of(busy))
    # By hand: the window of 30 days begins on 15 April; clear looks lie at noon, the day of the
    # last clear look (20 April) at its midday, the sore looks on 4 and 11 May at 13:00 (UTC+1).
    (lead,) = [r for r in svg.iter(f"{SVG}rect") if "lead-in" in r.get("class")]
    (bar,) = [n for n in svg.iter(f"{SVG}line") if n.get("class") == "worst-2 case"]
    (rest,) = [n for n in svg.iter(f"{SVG}line") if "unseen" in n.get("class")]
    start, width = percentages(lead, "x", "width")
    assert start == pytest.approx(100 * 5.5 / 30, abs=0.01)
    assert start + width == pytest.approx(100 * (19 + 13 / 24) / 30, abs=0.02)
    assert percentages(bar, "x1", "x2") == pytest.approx(
        [100 * (19 + 13 / 24) / 30, 100 * (26 + 13 / 24) / 30], abs=0.01
    )
    assert percentages(rest, "x1") == percentages(bar, "x2")
    assert "worst score 2: clear on 20 Apr 2026, sore from 4 May – 11 May 2026, not seen clear" in (
        picture_of(story_of(busy))
    )


def test_houses_lie_behind_and_change_on_the_day_of_the_move(busy):
    svg = drawn(story_of(busy))
    shed, orchard = (r for r in svg.iter(f"{SVG}rect") if "behind" in r.get("class"))
    assert percentages(shed, "x", "width") == pytest.approx([0, 100 * 16 / 30], abs=0.01)
    assert percentages(orchard, "x", "width") == pytest.approx(
        [100 * 16 / 30, 100 * 14 / 30], abs=0.01
    )


def test_names_from_keepers_stay_text(cast, birds):
    """A house, a note, a product and a keeper called <script>: nothing becomes markup."""
    evil = """<script>alert("x")</script>'&"""
    dill = birds["Dill"]
    check(dill, noon(2026, 5, 4), keeper_name=evil, note=evil, findings=both(1, 0))
    CareStep.objects.create(
        flock=cast.flock, bird=dill, kind="soaked", product=evil, at=noon(2026, 5, 5)
    )
    house = House.objects.create(flock=cast.flock, name=evil)
    Stay.objects.create(flock=cast.flock, bird=dill, house=house)
    for zoom in Zoom:
        a_story = story_of(dill, zoom)
        picture = picture_of(a_story, title=evil)
        assert "<script" not in picture + table_of(a_story)
        # An XML reader gets the names back whole.
        svg = drawn(a_story)
        assert any(evil in (title.text or "") for title in svg.iter(f"{SVG}title"))
        assert any(evil in "".join(row.itertext()) for row in rows(a_story))


def test_no_style_no_script_and_nothing_smaller_than_twelve_pixels(busy):
    picture = picture_of(story_of(busy, Zoom.YEAR))
    assert not re.search(r"\sstyle=|<style|<script|\son\w+=|font-size", picture)
    css = (Path(__file__).parents[2] / "static/css/timeline.css").read_text()
    sizes = [float(size) for size in re.findall(r"font-size: ([\d.]+)px", css)]
    assert sizes
    assert min(sizes) >= 12


marks = st.lists(
    st.tuples(st.integers(0, 364), st.sampled_from(["left", "right", "care"]), st.integers(0, 2)),
    max_size=60,
)


@given(marks, st.sampled_from(Zoom))
def test_touch_targets_of_a_lane_never_overlap(drawn_marks, zoom):
    stretch = Stretch.ending(TODAY, zoom, LONDON)
    latest = stretch.window.days - 1
    items = sorted((min(day, latest), lane, score) for day, lane, score in drawn_marks)
    made = [
        Mark(
            at=stretch.window.first + dt.timedelta(day),
            lane=lane,
            kind="care" if lane == "care" else f"score-{score}",
            label="x",
            url=f"/{number}",
            short=str(score),
            value=score,
        )
        for number, (day, lane, score) in enumerate(items)
    ]
    svg = drawn((Timeline(stretch.window, made, [Band(None, None, "lived", "Shed")]), stretch))
    assert len(list(svg.iter(f"{SVG}use"))) == len(made)
    by_row = {}
    for hit in svg.iter(f"{SVG}rect"):
        if hit.get("class") == "hit":
            by_row.setdefault(hit.get("y"), []).append(percentages(hit, "x", "width"))
    for hits in by_row.values():
        for (x, width), (following, _) in pairwise(hits):
            assert x + width <= following + 0.02
        if zoom is not Zoom.MONTH:
            assert all(width / 100 * PHONE_WIDTH >= 24 for _, width in hits)

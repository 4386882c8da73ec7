import datetime as dt

from flockcare.housing import layout as kinds
from flockcare.housing.layout import Layout, Place
from flockcare.housing.models import GROUND, PERCHES, FeatureKind


def test_the_kinds_are_those_of_the_records():
    named = [kinds.ROOST, kinds.RAIL, kinds.NEST_FRONT, kinds.STEP, kinds.RAMP, kinds.BOARD]
    assert {*named, kinds.FLOOR, kinds.LANDING, kinds.OTHER} == set(FeatureKind.values)
    assert set(kinds.GROUND) == {kind.value for kind in GROUND}
    assert set(kinds.PERCHES) == {kind.value for kind in PERCHES}


def test_a_scratch_copy_leaves_the_house_as_it_was():
    layout = Layout("Shed", dt.date(2026, 5, 1), (Place("Top", "roost", 130, 55),))
    lower = layout.changed("Top", height_cm=60).plus(Place("Step", "step", 30))
    assert [place.height_cm for place in lower.stands] == [60, 30]
    assert lower.without("Step").stands == (Place("Top", "roost", 60, 55),)
    assert layout.stands == (Place("Top", "roost", 130, 55),)


def test_what_has_no_height():
    layout = Layout(
        "Shed",
        dt.date(2026, 5, 1),
        (Place("Top", "roost"), Place("Feeder", "other"), Place("Yard", "landing")),
    )
    assert [place.name for place in layout.without_height] == ["Top"]
    assert layout.stands == layout.starts == ()

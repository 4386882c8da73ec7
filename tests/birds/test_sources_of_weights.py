"""How sure a figure is stood beside each one; now it is on the page of sources alone."""

from tests.running.step_by_step import migrated

BEFORE = [("birds", "0003_versions")]
AFTER = [("birds", "0004_sources_of_weights")]
STANDARD = "American Poultry Association, Standard of Perfection"


def test_only_the_source_stays(empty_database):
    with empty_database() as connection:
        old = migrated(connection, BEFORE)
        flock = old("people.Flock").create(name="Yard")
        for name, source in (
            ("Leghorn", f"{STANDARD} (from memory)"),
            ("Orpington", f"{STANDARD}, as cited by secondary sources"),
            ("Brown hybrid", "common practice, no published source"),
            ("Own", "entered by a keeper"),
        ):
            old("birds.Breed").create(flock=flock, name=name, source=source)

        breeds = migrated(connection, AFTER)("birds.Breed")
        assert dict(breeds.values_list("name", "source")) == {
            "Leghorn": STANDARD,
            "Orpington": STANDARD,
            "Brown hybrid": "common practice",
            "Own": "entered by a keeper",
        }

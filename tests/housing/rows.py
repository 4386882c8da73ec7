"""Houses for the tests, made in few words."""

from flockcare.housing.models import Feature, FeatureState, House, Stay


def house(flock, name="Shed", **fields):
    return House.objects.create(flock=flock, name=name, **fields)


def feature(of, name, kind="roost"):
    return Feature.objects.create(flock=of.flock, house=of, name=name, kind=kind)


def state(of, since, **measures):
    return FeatureState.objects.create(flock=of.flock, feature=of, since=since, **measures)


def stay(bird, in_house, since=None, until=None):
    return Stay.objects.create(
        flock=bird.flock, bird=bird, house=in_house, since=since, until=until
    )

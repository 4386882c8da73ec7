"""What an installation is told by its environment: understood, or refused in words."""

import pytest
from django.core.exceptions import ImproperlyConfigured

from flockcare.core import env


@pytest.fixture
def said(monkeypatch):
    for name in ("DB", "MOST", "S3_BUCKET", "S3_ENDPOINT", "S3_ACCESS_KEY", "S3_SECRET_KEY"):
        monkeypatch.delenv(name, raising=False)
    return monkeypatch.setenv


def test_nothing_said_means_the_embedded_default(said):
    assert env.postgresql("DB", "MOST") is None
    assert env.s3("S3") is None


def test_a_database_is_named_as_libpq_names_it(said):
    """Connection URIs: PostgreSQL 15 documentation, 34.1.1.2."""
    said("DB", "postgresql://hens%40home:p%2Fw%20d@[::1]:5433/hen%20house?sslmode=verify-full")
    said("MOST", "3")
    found = env.postgresql("DB", "MOST")
    assert (found["USER"], found["PASSWORD"]) == ("hens@home", "p/w d")
    assert (found["HOST"], found["PORT"], found["NAME"]) == ("::1", "5433", "hen house")
    assert found["OPTIONS"]["sslmode"] == "verify-full"
    assert found["OPTIONS"]["pool"]["max_size"] == 3


@pytest.mark.parametrize(
    "url",
    [
        "mysql://a:secret@b/c",
        "postgresql://a:secret@b",
        "postgresql://a:secret@b:port/c",
        "postgresql://a:secret@b:99999/c",
        "a:secret@b/c",
    ],
)
def test_a_database_that_cannot_be_is_refused_without_repeating_its_password(said, url):
    said("DB", url)
    with pytest.raises(ImproperlyConfigured, match="DB must read postgresql://") as refused:
        env.postgresql("DB", "MOST")
    assert "secret" not in str(refused.value)


@pytest.mark.parametrize("value", ["0", "-1", "many", "2.5", "²"])
def test_a_number_is_a_whole_number(said, value):
    said("MOST", value)
    with pytest.raises(ImproperlyConfigured, match="MOST must be a whole number"):
        env.number("MOST", 8)


def test_storage_needs_its_bucket_and_both_keys(said):
    said("S3_ACCESS_KEY", "one")
    with pytest.raises(ImproperlyConfigured, match="needs S3_BUCKET"):
        env.s3("S3")
    said("S3_BUCKET", "hens")
    with pytest.raises(ImproperlyConfigured, match="go together"):
        env.s3("S3")
    said("S3_SECRET_KEY", "two")
    assert env.s3("S3")["OPTIONS"]["bucket_name"] == "hens"


def test_a_choice_is_one_of_the_choices(said):
    said("DB", "JSON")
    assert env.choice("DB", "text", "json") == "json"
    said("DB", "xml")
    with pytest.raises(ImproperlyConfigured, match="DB must be text or json; it is 'xml'"):
        env.choice("DB", "text", "json")

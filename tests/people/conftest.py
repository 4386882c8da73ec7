import pytest
from django.core.cache import cache


@pytest.fixture(autouse=True)
def _no_attempts_yet():
    cache.clear()

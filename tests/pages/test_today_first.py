"""What Today says to a flock that has just begun."""

import pytest
from django.urls import reverse

from tests.care.steps import look

pytestmark = pytest.mark.django_db


def test_today_leads_to_the_house_until_there_is_one(cast, birds):
    today = reverse("today", args=[cast.flock.pk])
    look(cast, birds["Dill"], left={"score": 0}, right={"score": 0})
    assert "Draw the house" in cast.clients.keeper.get(today).text
    assert "Draw the house" not in cast.clients.viewer.get(today).text
    cast.flock.house_set.create(name="Barn")
    assert "Draw the house" not in cast.clients.keeper.get(today).text

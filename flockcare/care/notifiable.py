"""Where the signs of a disease that must be reported, such as bird flu, may stand.

Its cyanosis of comb and legs and its swollen hocks look like trouble of the feet (United States,
APHIS 2017; United Kingdom, APHA 2022, both read). The app names no disease of a bird: it says what
to do where several are ill.
"""

from collections.abc import Iterable
from datetime import date, timedelta

from flockcare.birds.models import Bird, LeftReason
from flockcare.care.standing.answer import Standing
from flockcare.core.sources import APHA, APHIS

SOURCES = (APHIS, APHA)
# "Several": common practice, no published source.
SEVERAL = 2


# Days within which several birds that died are told together: our choice, no published source.
DEAD_WITHIN = timedelta(days=7)


def several_dead(flock, today: date) -> int:
    """How many died within days, where it is several, else 0; one query."""
    since = (today - DEAD_WITHIN).isoformat()
    died = Bird.objects.filter(flock=flock, left_reason=LeftReason.DIED, left__gt=since)
    count = died.count()
    return count if count >= SEVERAL else 0


def several_ill(birds: Iterable[Standing]) -> bool:
    return sum(bird.notifiable for bird in birds) >= SEVERAL

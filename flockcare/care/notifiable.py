"""Where the signs of a disease that must be reported, such as bird flu, may stand.

Its cyanosis of comb and legs and its swollen hocks look like trouble of the feet (United States,
APHIS 2017; United Kingdom, APHA 2022, both read). The app names no disease of a bird: it says what
to do where several are ill.
"""

from collections.abc import Iterable

from flockcare.care.standing import Standing
from flockcare.core.sources import APHA, APHIS

SOURCES = (APHIS, APHA)
# "Several": common practice, no published source.
SEVERAL = 2


def several_ill(birds: Iterable[Standing]) -> bool:
    return sum(bird.notifiable for bird in birds) >= SEVERAL

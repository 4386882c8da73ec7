"""Where the signs of a disease that must be reported, such as bird flu, may stand.

Its cyanosis of comb and legs and its swollen hocks look like trouble of the feet (United States,
APHIS 2017; United Kingdom, APHA 2022, both read). The app names no disease of a bird: it says what
to do where several are ill.
"""

from collections.abc import Iterable

from flockcare.care.rules import Answer
from flockcare.core.sources import APHA, APHIS

SOURCES = (APHIS, APHA)
# Signs of the rules that also belong to such a disease.
SIGNS = {"cold or dark", "dull"}
# "Several": common practice, no published source.
SEVERAL = 2


def may_be_notifiable(answer: Answer) -> bool:
    return any(rule.key in SIGNS for rule in (*answer.because, *answer.also))


def several_ill(answers: Iterable[Answer]) -> bool:
    """Of answers for one bird each, whether several have such a sign."""
    return sum(map(may_be_notifiable, answers)) >= SEVERAL

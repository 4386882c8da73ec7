"""Leave a foot, care for it at home or see a vet, and how soon: a table of rules, nothing else.

A pure function of what was seen. What nobody wrote down is not known, which is not the same as
"no". A sign that calls for a vet is never outvoted. There is no diagnosis and no dose in it.

`signs.py`: what can be seen, and whether a sign is there. `table.py`: the rules, each with its
threshold, reason, source and how sure that is. `answer.py`: what follows from them.
"""

from flockcare.care.rules.answer import Answer, advise
from flockcare.care.rules.levels import Advice, Mark, Rule
from flockcare.care.rules.signs import Situation
from flockcare.care.rules.table import LIMITS, RULES, UNASKED
from flockcare.care.sizes import READING_ERROR_MM, Size

__all__ = [
    "LIMITS",
    "READING_ERROR_MM",
    "RULES",
    "UNASKED",
    "Advice",
    "Answer",
    "Mark",
    "Rule",
    "Situation",
    "Size",
    "advise",
]

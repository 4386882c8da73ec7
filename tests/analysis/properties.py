"""Settings of the property tests: bounded, the same examples on every run."""

import os

from hypothesis import Phase, settings

# A wider search by hand: FLOCKCARE_EXAMPLES=2000 pytest tests/analysis
_wide = int(os.environ.get("FLOCKCARE_EXAMPLES", "0"))


def examples(number: int) -> settings:
    """So many examples. No shrinking: it takes minutes to make a failure prettier."""
    return settings(
        max_examples=_wide or number,
        deadline=None,
        derandomize=not _wide,
        phases=[Phase.explicit, Phase.generate],
    )

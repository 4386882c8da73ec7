"""What a keeper wants to be reminded of."""

from dataclasses import dataclass
from uuid import UUID


@dataclass(frozen=True)
class Wanted:
    """``hour``: of the day, 0 to 23, in the flock's zone; ``mine_only``: of care and checks that
    which is this keeper's own, not what anybody may do.
    """

    hour: int
    care: bool = True
    mine_only: bool = False
    checks: bool = True
    withdrawal: bool = True

    def is_for(self, who: UUID | None, keeper) -> bool:
        """``who`` it falls to: a keeper's key, or None for anybody."""
        return who == keeper.pk or (who is None and not self.mine_only)

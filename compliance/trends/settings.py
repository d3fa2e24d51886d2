"""What the alarms are set to, and why: docs/algorithms/trends.md (Settings).

Chosen by simulation, not by taste: ``python -m compliance.trends.simulate --seed 4`` writes the
tables again that they were chosen from. Months are calendar months of the site.
"""

from dataclasses import dataclass
from math import inf


@dataclass(frozen=True, slots=True)
class Window:
    """So many months up to the asked one, taken together.

    ``looks``: its p-value is multiplied by this, so that looking in several ways is paid for. Where
    the sum of ``1 / looks`` over all windows is at most 1, the smallest product is still a p-value
    (Bonferroni). ``stands_back``: its baseline ends a year before the asked month, where there is
    one, so that a slow rise is not compared with itself.
    """

    months: int
    looks: float
    stands_back: bool = False


@dataclass(frozen=True, slots=True)
class Settings:
    """All that can be set.

    ``least_readings`` in ``least_months`` months must stand in a baseline before anything is said.
    ``longest_baseline`` and ``stand_back``: months. ``shapes``: how clumped a place may be, as the
    k of its monthly counts; infinite is not clumped at all. ``at_first``: how likely each is before
    anything was counted, in proportion; published trap counts lie near 1. ``own_say``: how many
    zones that is worth against what like zones show, which is read again ``rounds`` times.
    ``counted``: how much of the chance of exactly so many belongs to a p-value (``alarms``).
    ``most_false``: the p-value an alarm must reach by itself; a tenth below one in 200, as
    simulation cannot try every place. ``share_false``: the share of all alarms of a company that
    may be false, in the mean. ``season_at``: from which p-value on like zones have a season.
    ``season_doubt``: how little the months beside a month are taken to tell of it where a zone
    alone tells its season; at 1 only months of its own name do, at 0 all as if it were known.
    """

    windows: tuple[Window, ...] = (
        Window(months=1, looks=5.0),
        Window(months=3, looks=2.5),
        Window(months=6, looks=2.5, stands_back=True),
    )
    least_readings: int = 12
    least_months: int = 6
    longest_baseline: int = 36
    stand_back: int = 12
    shapes: tuple[float, ...] = (0.25, 0.5, 1.0, 2.0, 4.0, 8.0, 16.0, inf)
    at_first: tuple[float, ...] = (1.0, 2.0, 3.0, 3.0, 2.0, 2.0, 1.0, 1.0)
    own_say: float = 1.5
    rounds: int = 30
    counted: float = 0.5
    most_false: float = 0.0045
    share_false: float = 0.2
    season_at: float = 0.01
    season_doubt: float = 0.5

    @property
    def months(self) -> int:
        """How many months, the asked one included, are needed to say all that can be said."""
        return max(
            self.longest_baseline
            + (max(one.months, self.stand_back) if one.stands_back else one.months)
            for one in self.windows
        )


CHOSEN = Settings()

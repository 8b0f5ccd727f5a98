"""The tests of two groups that can decide a study."""

from typing import Literal

PlannedTest = Literal["welch", "ranks", "trimmed"]

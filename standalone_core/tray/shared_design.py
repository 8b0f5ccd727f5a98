"""A design that crowns of a tray share: made ready once, when the first of them needs it."""

from __future__ import annotations

from collections.abc import Callable
from copy import copy
from dataclasses import replace
from typing import TypeAlias

from ..causes.design_fields import CauseFields, cause_fields_steps
from ..check import check_ready_steps
from ..check_result import CheckResult
from ..check_settings import CheckSettings
from ..errors import CuspwiseError
from ..explain import explained_steps
from ..measure import AreaFinder, CheckedMesh, ReadyDesign, ready_design_steps
from ..progress import Progress, Steps, scaled
from ..stopwatch import Stopwatch
from .check_crowns import CrownToCheck

Read: TypeAlias = Callable[[], CheckedMesh]
"""Returns a surface, read and repaired; touches nothing that belongs to another thread."""


class SharedDesign:
    """A design and the crowns of a tray that were made from it.

    Reading, areas, index and the fields of causes are made once for all of them, and let go with
    the last crown. A design that cannot be made ready is an error of each of its crowns.

    Parameters
    ----------
    name : str
        What the design is called.
    read : function
        Returns the design, read and repaired.
    settings : CheckSettings
        How the design is made ready; those of crowns may differ in what concerns scans only
        (start of the superimposition, tolerances, facts of production).
    find_areas : function, optional
        In place of automatic areas and areas file; see :func:`.measure.area_steps`.
    """

    def __init__(
        self,
        name: str,
        read: Read,
        settings: CheckSettings,
        *,
        find_areas: AreaFinder | None = None,
    ) -> None:
        self.name = name
        self._read, self._settings, self._find_areas = read, settings, find_areas
        self._ready: ReadyDesign | CuspwiseError | None = None
        self._fields: tuple[CheckSettings, CauseFields] | None = None
        self._waiting = 0

    def crown(
        self, name: str, scan: str, read: Read, settings: CheckSettings | None = None
    ) -> CrownToCheck:
        """Return one of its crowns, to be checked once.

        Parameters
        ----------
        name : str
            Unique in the tray.
        scan : str
            What the scan is called.
        read : function
            Returns the scan, read and repaired.
        settings : CheckSettings, optional
            The crown's own, with the design's choices in them.
        """
        self._waiting += 1
        chosen = settings or self._settings
        return CrownToCheck(name, self.name, scan, lambda: self._crown_steps(read, chosen))

    def hold(self) -> None:
        """Keep what is made ready, though no crown may wait for it at a time."""
        self._waiting += 1

    def _crown_steps(self, read: Read, settings: CheckSettings) -> Steps[CheckResult]:
        """Check a crown, with causes if they are asked for."""
        try:
            checking = self._check_steps(read, settings)
            if not settings.causes.find_causes:
                return (yield from checking)
            result = yield from scaled(checking, 0.0, 0.6)
            return (yield from scaled(self._explained_steps(result), 0.6, 1.0))
        finally:
            self._waiting -= 1
            if not self._waiting:
                self._ready = self._fields = None

    def _check_steps(self, read: Read, settings: CheckSettings) -> Steps[CheckResult]:
        watch = Stopwatch()
        ready = yield from scaled(self._ready_steps(watch), 0.0, 0.3)
        yield Progress("Reading the scan", 0.3)
        with watch.stage("read"):
            scan = read()
        return (yield from scaled(check_ready_steps(scan, ready, settings, watch), 0.4, 1.0))

    def _ready_steps(self, watch: Stopwatch) -> Steps[ReadyDesign]:
        if self._ready is None:
            try:
                self._ready = yield from self._made_ready_steps(watch)
            except CuspwiseError as problem:
                self._ready = copy(problem)
                raise
        if isinstance(self._ready, CuspwiseError):
            raise copy(self._ready)
        return self._ready

    def _made_ready_steps(self, watch: Stopwatch) -> Steps[ReadyDesign]:
        yield Progress("Reading the design", 0.0)
        with watch.stage("read"):
            design = self._read()
        making = ready_design_steps(
            design, self._settings, find_areas=self._find_areas, watch=watch
        )
        return (yield from scaled(making, 0.1, 1.0))

    def _explained_steps(self, result: CheckResult) -> Steps[CheckResult]:
        try:
            return (yield from explained_steps(result, self._fields_steps))
        except CuspwiseError as problem:
            # The check is whole without them.
            told = f"Causes: they could not be found. {problem.reason} {problem.remedy}"
            return replace(result, warnings=(*result.warnings, told))

    def _fields_steps(self, result: CheckResult) -> Steps[CauseFields]:
        """Make what the causes need of the design, or take what an earlier crown needed."""
        asked = result.settings
        if self._fields is not None:
            made_for, fields = self._fields
            if (made_for.causes, made_for.production) == (asked.causes, asked.production):
                return fields
        assert isinstance(self._ready, ReadyDesign)  # the result was measured on it
        fields = yield from cause_fields_steps(
            result.area_set, self._ready.prepared.index, asked.causes, (asked.production,)
        )
        self._fields = (asked, fields)
        return fields

"""A design that crowns of a tray share: made ready once, when the first of them needs it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import TypeAlias

from ..causes.design_fields import CauseFields, cause_fields_steps
from ..check import check_ready_steps
from ..check_result import CheckResult
from ..check_settings import CheckSettings
from ..checked_mesh import CheckedMesh
from ..errors import CuspwiseError
from ..explain import explained_steps
from ..measure import ReadyDesign, ready_design_steps
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
        Of all its crowns.
    """

    def __init__(self, name: str, read: Read, settings: CheckSettings) -> None:
        self.name = name
        self._read, self._settings = read, settings
        self._ready: ReadyDesign | CuspwiseError | None = None
        self._fields: CauseFields | None = None
        self._waiting = 0

    def crown(self, name: str, scan: str, read: Read) -> CrownToCheck:
        """Return one of its crowns, to be checked once.

        Parameters
        ----------
        name : str
            Unique in the tray.
        scan : str
            What the scan is called.
        read : function
            Returns the scan, read and repaired.
        """
        self._waiting += 1
        return CrownToCheck(name, self.name, scan, lambda: self._crown_steps(read))

    def hold(self) -> None:
        """Keep what is made ready, though no crown may wait for it at a time."""
        self._waiting += 1

    def _crown_steps(self, read: Read) -> Steps[CheckResult]:
        """Check a crown, with causes if they are asked for."""
        try:
            checking = self._check_steps(read)
            if not self._settings.causes.find_causes:
                return (yield from checking)
            result = yield from scaled(checking, 0.0, 0.6)
            return (yield from scaled(self._explained_steps(result), 0.6, 1.0))
        finally:
            self._waiting -= 1
            if not self._waiting:
                self._ready = self._fields = None

    def _check_steps(self, read: Read) -> Steps[CheckResult]:
        watch = Stopwatch()
        ready = yield from scaled(self._ready_steps(watch), 0.0, 0.3)
        yield Progress("Reading the scan", 0.3)
        with watch.stage("make ready"):
            scan = read()
        checking = check_ready_steps(scan, ready, self._settings, watch)
        return (yield from scaled(checking, 0.4, 1.0))

    def _ready_steps(self, watch: Stopwatch) -> Steps[ReadyDesign]:
        if self._ready is None:
            try:
                self._ready = yield from self._made_ready_steps(watch)
            except CuspwiseError as problem:
                self._ready = problem.words_alone()
                raise
        if isinstance(self._ready, CuspwiseError):
            raise self._ready.words_alone()
        return self._ready

    def _made_ready_steps(self, watch: Stopwatch) -> Steps[ReadyDesign]:
        yield Progress("Reading the design", 0.0)
        with watch.stage("make ready"):
            design = self._read()
        making = ready_design_steps(design, self._settings)
        return (yield from watch.timed("make ready", making, 0.1, 1.0))

    def _explained_steps(self, result: CheckResult) -> Steps[CheckResult]:
        try:
            return (yield from explained_steps(result, self._fields_steps))
        except CuspwiseError as problem:
            # The check is whole without them.
            told = f"Causes: they could not be found. {problem.reason} {problem.remedy}"
            return replace(result, warnings=(*result.warnings, told))

    def _fields_steps(self, result: CheckResult) -> Steps[CauseFields]:
        """Make what the causes need of the design, or take what an earlier crown needed."""
        if self._fields is None:
            assert isinstance(self._ready, ReadyDesign)  # the result was measured on it
            index, asked = self._ready.prepared.index, self._settings
            self._fields = yield from cause_fields_steps(
                result.area_set, index, asked.causes, (asked.production,)
            )
        return self._fields

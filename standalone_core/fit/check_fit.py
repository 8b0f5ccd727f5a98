"""From a crown and its die to all that is to be said about how the crown fits."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from ..arrays import FloatArray
from ..deviation.margin_directions import directions_about
from ..errors import CuspwiseError
from ..progress import Progress, Steps, run, scaled
from ..versions import versions_used
from .attempts import Attempts, at_once
from .contacts.measuring import measure_contacts_steps
from .contacts.result import Contacts
from .crown import FitCrown, ready_crown_steps
from .die import FitDie
from .gap.finish_line import carried_finish_line, finish_line_from_points
from .gap.gap_map import gap_map
from .gap.marginal import marginal_gap
from .gap.result import GapMap, MarginalGap
from .inputs import FitFiles, FitInputs, read_inputs_steps
from .one_of_many import OneOfMany
from .placing import PlacedCrown, own_crown_steps, placed_steps
from .result import NO_FINISH_LINE, FitResult, TripleScan
from .seat.relief import relief_steps
from .seat.result import Seat
from .seat.seat_crown import seat_crown_steps
from .settings import FitSettings
from .triple_scan import triple_scan_steps
from .walls.measuring import measure_walls_steps
from .walls.result import Walls


def check_fit_steps(files: FitFiles, settings: FitSettings | None = None) -> Steps[FitResult]:
    """Judge the fit of a crown's file as :func:`check_fit` does, step by step."""
    settings = settings or FitSettings()
    inputs = yield from scaled(read_inputs_steps(files, settings), 0.0, 0.1)
    return (yield from scaled(check_fit_of_steps(inputs, settings), 0.1, 1.0))


def check_fit(files: FitFiles, settings: FitSettings | None = None) -> FitResult:
    """Seat a crown on its die and judge how it fits: seat, gap, margin, walls, contacts.

    Parameters
    ----------
    files : FitFiles
        The crown and the die, and what else there is.
    settings : FitSettings, optional

    Returns
    -------
    FitResult
        What could not be done is in ``missing``, with reason and remedy.

    Raises
    ------
    FileError
        A file that cannot be read.
    MeshError
        No triangle with an area is left.

    Examples
    --------
    A design on the die that it was made for, with 50 µm of cement space all over: it goes down by
    these 50 µm.

    >>> import cuspwise
    >>> crown = cuspwise.demo_crown(edge_mm=0.4)
    >>> die = cuspwise.demo_die(crown, cement_um=50, margin_um=50, edge_mm=0.4)
    >>> design = cuspwise.write_mesh("crown.stl", crown.mesh)
    >>> files = cuspwise.FitFiles(
    ...     design, cuspwise.write_mesh("die.stl", die.mesh), design=design
    ... )
    >>> fit = cuspwise.check_fit(files, cuspwise.FitSettings(spacing_mm=0.4))
    >>> fit.seat.stop, -70 < fit.seat.above_intended_um < -20
    ('rests', True)
    """
    return run(check_fit_steps(files, settings))


def check_fit_of_steps(
    inputs: FitInputs, settings: FitSettings | None = None, known: OneOfMany | None = None
) -> Steps[FitResult]:
    """Judge the fit of surfaces at hand as :func:`check_fit` does, step by step.

    Parameters
    ----------
    inputs : FitInputs
    settings : FitSettings, optional
    known : OneOfMany, optional
        What is known before of a crown that is one of many.
    """
    return (yield from _Job(inputs, settings or FitSettings(), known or OneOfMany()).steps())


NO_SEAT = "It was not measured: the crown was not seated."


class _Job:
    """One fit, part by part; a part that cannot be done says why and leaves the others."""

    def __init__(self, inputs: FitInputs, settings: FitSettings, known: OneOfMany) -> None:
        self.inputs, self.settings, self.known = inputs, settings, known
        self.tries = Attempts()
        self.warnings: list[str] = []

    def steps(self) -> Steps[FitResult]:
        """Run all parts."""
        yield Progress("Finding the areas", 0.0)
        inputs, settings, tries = self.inputs, self.settings, self.tries
        design = yield from self._design_steps()
        owning = own_crown_steps(inputs.crown.mesh, design, settings, self.known.threads)
        crown = yield from tries.needed("areas", owning, 0.08, 0.16)
        placing = placed_steps(crown, inputs.die.mesh, design, settings, self.known)
        attempt = tries.needed if self.known.seated_only else tries.of
        placed: PlacedCrown | None = yield from attempt("seat", placing, 0.16, 0.3)
        seat = triple = None
        if placed is not None:
            crown = placed.crown
            seating = _seat_steps(placed, settings, self.known.with_rocking)
            seat = yield from tries.of("seat", seating, 0.3, 0.65)
            triple = yield from self._triple_steps(placed, seat)
        motion = _where_it_lies(placed, seat, triple)
        die = None if placed is None else self._with_finish_line(placed, design)
        gap, margin = yield from self._gap_steps(crown, die, motion)
        walls = yield from self._walls_steps(crown, placed, design)
        contacts = yield from self._contacts_steps(crown, placed, motion, design)
        yield Progress("Fit judged", 1.0)
        return FitResult(
            crown=crown,
            die=die,
            seat=seat,
            triple_scan=triple,
            gap=gap,
            margin=margin,
            walls=walls,
            contacts=contacts,
            missing=tries.missing,
            warnings=tuple(self._all_warnings(crown, placed)),
            seconds=tries.seconds,
            versions=versions_used(),
            settings=settings,
        )

    def _design_steps(self) -> Steps[FitCrown | None]:
        if self.known.design is not None or self.inputs.design is None:
            return self.known.design
        ready = ready_crown_steps(
            self.inputs.design.mesh,
            self.settings.areas,
            spacing_mm=self.settings.spacing_mm,
            without_intaglio=True,
            threads=self.known.threads,
        )
        return (yield from self.tries.needed("areas", ready, 0.0, 0.08))

    def _triple_steps(self, placed: PlacedCrown, seat: Seat | None) -> Steps[TripleScan | None]:
        if self.inputs.seated is None:
            return None
        laying = triple_scan_steps(
            placed.crown,
            placed.die,
            self.inputs.seated.mesh,
            self.settings.triple_scan,
            virtual=seat,
            start=placed.pose.T_die_crown,
        )
        return (yield from self.tries.of("triple_scan", laying, 0.65, 0.8))

    def _with_finish_line(self, placed: PlacedCrown, design: FitCrown | None) -> FitDie:
        """The die with its finish line, if that was given or can be carried over."""
        die, given = placed.die, self.inputs.finish_line
        try:
            if given is not None:
                found = finish_line_from_points(given.points_mm, die.index, given.origin)
            elif design is not None and design.can_be_seated and placed.pose.intended:
                found = carried_finish_line(design, die.index)
            else:
                self.tries.missing["margin"] = NO_FINISH_LINE
                return die
        except CuspwiseError as problem:
            self.tries.missing["margin"] = str(problem)
            return die
        if found.note:
            self.warnings.append(found.note)
        return replace(die, finish_line=found.line)

    def _gap_steps(
        self, crown: FitCrown, die: FitDie | None, motion: FloatArray | None
    ) -> Steps[tuple[GapMap | None, MarginalGap | None]]:
        yield Progress("Measuring the gap", 0.8)
        if die is None or motion is None:
            why = self.tries.missing.get("seat", NO_SEAT)
            self.tries.missing |= {"gap": why, "margin": why}
            return None, None
        settings = self.settings.gap
        mapping = at_once(gap_map, crown, die, motion, settings)
        gap = yield from self.tries.of("gap", mapping, 0.8, 0.85)
        if die.finish_line is None:
            return gap, None
        directions = directions_about(die.axis, self.settings.areas)
        measuring = at_once(marginal_gap, crown, die, motion, settings, directions)
        return gap, (yield from self.tries.of("margin", measuring, 0.85, 0.9))

    def _walls_steps(
        self, crown: FitCrown, placed: PlacedCrown | None, design: FitCrown | None
    ) -> Steps[Walls | None]:
        on_design = design is not None and placed is not None and placed.pose.intended
        measuring = measure_walls_steps(
            crown,
            self.settings.walls,
            design=design if on_design else None,
            T_design_crown=placed.pose.T_die_crown if on_design and placed else None,
        )
        return (yield from self.tries.of("walls", measuring, 0.9, 0.95))

    def _contacts_steps(
        self,
        crown: FitCrown,
        placed: PlacedCrown | None,
        motion: FloatArray | None,
        design: FitCrown | None,
    ) -> Steps[Contacts | None]:
        teeth = list(self.inputs.teeth)
        if not teeth:
            return None
        if motion is None or placed is None:
            self.tries.missing["contacts"] = self.tries.missing.get("seat", NO_SEAT)
            return None
        measuring = measure_contacts_steps(
            crown,
            motion,
            teeth,
            self.settings.contacts,
            design=design,
            directions=directions_about(placed.die.axis, self.settings.areas),
        )
        return (yield from self.tries.of("contacts", measuring, 0.95, 1.0))

    def _all_warnings(self, crown: FitCrown, placed: PlacedCrown | None) -> Iterator[str]:
        for name, surface in self.inputs.surfaces:
            yield from (f"{name}: {note}" for note in surface.notes)
        yield from crown.area_set.warnings
        if placed is not None:
            yield from placed.warnings
        yield from self.warnings


def _seat_steps(placed: PlacedCrown, settings: FitSettings, with_rocking: bool) -> Steps[Seat]:
    """Seat a crown; where it cannot go on, find what must be relieved."""
    intended = placed.pose.T_die_crown if placed.pose.intended else None
    seat = yield from scaled(
        seat_crown_steps(
            placed.crown,
            placed.die,
            placed.pose.T_die_crown,
            settings.seat,
            is_scan=placed.is_scan,
            intended=intended,
            with_rocking=with_rocking,
        ),
        0.0,
        0.6,
    )
    if seat.stop != "cannot_go_on" or intended is None:
        return seat
    relieving = relief_steps(
        placed.crown,
        placed.die,
        intended,
        settings.seat,
        is_scan=placed.is_scan,
        above_mm=1e-3 * seat.above_intended_um,
    )
    return replace(seat, relief=(yield from scaled(relieving, 0.6, 1.0)))


def _where_it_lies(
    placed: PlacedCrown | None, seat: Seat | None, triple: TripleScan | None
) -> FloatArray | None:
    """The pose in which gap, margin and contacts are measured."""
    if triple is not None:
        return triple.T_die_crown
    return None if placed is None or seat is None else seat.T_die_crown

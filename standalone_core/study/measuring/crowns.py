"""The scans of a study: which there are, which are measured already, and what came of them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from ...areas.area_set import AreaSet
from ...check import CheckSettings
from ...deviation.judgement import scan_warnings
from ...deviation.measures import AreaMeasures
from ...deviation.tolerances import Tolerances
from ...deviation.verdict import evidence_from, judge, with_verdicts
from ...errors import CuspwiseError
from ...records import with_tuples
from .fit_record import fit_from
from .result_store import Kept, file_checksum
from .results import Crown, LeftOut
from .scan_job import ScanJob, rows_key, scan_key

_USELESS = ("wrong_part", "mirrored")
"""Superimpositions that say that the scan does not show this crown."""


@dataclass(frozen=True)
class Entry:
    """One scan of the study.

    Attributes
    ----------
    name, group : str
    sha256 : str
        Checksum of the file's content.
    job : ScanJob
        What is to be done for it.
    """

    name: str
    group: str
    sha256: str
    job: ScanJob


@dataclass(frozen=True)
class Place:
    """Where a study's results are kept, and what all of them depend on.

    Attributes
    ----------
    kept : Kept
    design, areas_file : pathlib.Path
        The design; the study's areas as they are kept.
    design_sha256, areas, fit_areas : str
        Checksums of the design's file, of the areas, and of those that are fitted on.
    settings : CheckSettings
    """

    kept: Kept
    design: Path
    areas_file: Path
    design_sha256: str
    areas: str
    fit_areas: str
    settings: CheckSettings

    def entry(self, name: str, group: str, scan: Path) -> Entry | LeftOut:
        """Return a scan's entry, or why it cannot be read."""
        try:
            sha256 = file_checksum(scan)
        except CuspwiseError as problem:
            return LeftOut(name, group, scan, problem.reason, problem.remedy)
        key = scan_key(sha256, self.design_sha256, self.settings, self.fit_areas)
        job = ScanJob(
            scan=scan.resolve(),
            key=key,
            rows_key=rows_key(key, self.areas, self.settings),
            design=self.design.resolve(),
            areas_file=self.areas_file.resolve(),
            folder=self.kept.folder.resolve(),
            settings=self.settings,
        )
        return Entry(name, group, sha256, job)


def crown_from(entry: Entry, kept: Kept, area_set: AreaSet) -> Crown | LeftOut | None:
    """Return what is kept of a scan, judged.

    Returns
    -------
    Crown, LeftOut or None
        ``LeftOut`` for a scan that does not show this crown; None if nothing is kept.
    """
    found = kept.load(entry.job.rows_key)
    if found is None or not kept.holds(entry.job.key):
        return None
    record, settings = found[0], entry.job.settings
    fit = fit_from(record["superimposition"], settings.superimpose)
    if fit.verdict in _USELESS:
        return LeftOut(
            entry.name,
            entry.group,
            entry.job.scan,
            fit.reason,
            "Check that the file shows a crown made from this design; look at it with 'check'.",
        )
    rows = tuple(AreaMeasures(**with_tuples(row)) for row in record["measures"])
    evidence = evidence_from(
        record["is_design"], record["layers"], record["margin"], record["unmatched"]
    )
    warnings = list(record["notes"])
    if fit.verdict != "good":
        warnings.append(f"Superimposition: {fit.reason}")
    warnings += [f"Superimposition: {text}" for text in fit.warnings]
    warnings += scan_warnings(rows, evidence, settings.tolerances)
    crown = Crown(
        name=entry.name,
        group=entry.group,
        path=entry.job.scan,
        sha256=entry.sha256,
        triangles=record["triangles"],
        superimposition=fit,
        measures=rows,
        verdicts=(),
        warnings=tuple(dict.fromkeys(warnings)),
        key=entry.job.key,
        evidence=evidence,
        margin=evidence.margin,
    )
    return judged(crown, settings.tolerances)


def judged(crown: Crown, tolerances: Tolerances) -> Crown:
    """Return a crown judged by tolerances."""
    verdicts = judge(crown.measures, crown.superimposition, tolerances, crown.evidence)
    return replace(crown, measures=with_verdicts(crown.measures, verdicts), verdicts=verdicts)


def missing(entries: Mapping[str, Entry], kept: Kept) -> dict[str, Entry]:
    """Return the entries that have still to be measured."""
    return {
        name: entry
        for name, entry in entries.items()
        if kept.load(entry.job.rows_key) is None or not kept.holds(entry.job.key)
    }

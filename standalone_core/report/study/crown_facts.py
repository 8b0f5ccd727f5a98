"""What is known of single crowns and differs within their group, as a table."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from ...readable import readable
from ...study.plan import GroupPlan, StudyPlan


@dataclass(frozen=True)
class CrownFacts:
    """The crowns of a list and their facts.

    Attributes
    ----------
    names : tuple of str
        Of the facts.
    rows : tuple of tuple of str
        Crown, group, file, and what is known of it by each name; empty where nothing is.
    """

    names: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


def crown_facts(plan: StudyPlan, *, differing: bool = False) -> CrownFacts | None:
    """Return the facts of all crowns of a list.

    Parameters
    ----------
    plan : StudyPlan
    differing : bool
        Whether to leave out facts that are the same for all crowns of each group.

    Returns
    -------
    CrownFacts or None
        None if the crowns are not listed, or no fact is left.
    """
    own_names = differing_facts(plan)
    if not any(group.crowns for group in plan.groups) or (differing and not own_names):
        return None
    called = plan.crown_names()
    known = [
        (called[scan], group.name, readable(scan.name), {**group.facts, **own})
        for group in plan.groups
        for scan, own in zip(group.scans, _own_facts(group), strict=True)
    ]
    every = tuple(dict.fromkeys(name for *_, facts in known for name in facts))
    names = own_names if differing else every
    return CrownFacts(
        names,
        tuple((*about, *(facts.get(name, "") for name in names)) for *about, facts in known),
    )


def _own_facts(group: GroupPlan) -> tuple[Mapping[str, str], ...]:
    return group.crown_facts or ({},) * len(group.scans)


def differing_facts(plan: StudyPlan) -> tuple[str, ...]:
    """Return the names of facts that differ between the crowns of a group."""
    own = (name for group in plan.groups for facts in group.crown_facts for name in facts)
    return tuple(dict.fromkeys(own))

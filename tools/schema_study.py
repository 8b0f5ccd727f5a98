"""What is in study.json: rows of its statistics have the names of its tables' columns."""

from __future__ import annotations

from cuspwise.standalone_core.causes.document import CAUSE_COLUMNS
from cuspwise.standalone_core.causes.result import Cause, Correction, Remaining
from cuspwise.standalone_core.deviation.margin_summary import MarginSummary
from cuspwise.standalone_core.deviation.measures import AreaMeasures
from cuspwise.standalone_core.deviation.support_marks import MarkResult
from cuspwise.standalone_core.deviation.unmatched import UnmatchedPiece
from cuspwise.standalone_core.deviation.verdict import Verdict
from cuspwise.standalone_core.fit.judged import Judged
from cuspwise.standalone_core.study.analysis.document import ANALYSIS_SCHEMA_VERSION
from cuspwise.standalone_core.study.analysis.results import analysis as of_study
from cuspwise.standalone_core.study.analysis.results import causes as of_causes
from cuspwise.standalone_core.study.analysis.results import comparisons as of_groups
from cuspwise.standalone_core.study.analysis.results import earlier as of_earlier
from cuspwise.standalone_core.study.analysis.results import fit as of_fit
from cuspwise.standalone_core.study.analysis.results import groups as of_crowns
from cuspwise.standalone_core.study.analysis.results import scores as of_scores
from cuspwise.standalone_core.study.document_file import MEASURED_ON_SCHEMA, SCHEMA
from cuspwise.standalone_core.study.measuring.crown_fit import FitValue, NotFitted
from cuspwise.standalone_core.study.measuring.results import Pair, SpreadParts
from cuspwise.standalone_core.study.plan import StudyPlan
from schema_of_types import (
    COUNT,
    MATRIX,
    NUMBER,
    NUMBER_OR_NULL,
    TEXT,
    TEXTS,
    YES_OR_NO,
    Definitions,
    Schema,
    array_of,
    described,
    map_of,
    or_null,
    record,
)
from schema_rows import key, row

_DESCRIBED = "n missing mean sd mean_low mean_high median q1 q3 minimum maximum"
_MEANS = row("difference low high t df p_value reason")
_TESTS = {
    "welch": described(_MEANS, "Welch's test."),
    "trimmed": described(_MEANS, "Yuen's test of trimmed means."),
    "ranks": described(row("u p_value method shift low high reason"), "The test of ranks."),
    "effects": described(
        row("hedges_g hedges_low hedges_high cliff_delta cliff_low cliff_high"),
        "Sizes of the effect.",
    ),
}
_CONTRAST = "area measure first second n_first n_second mean_first mean_second difference low high"
_END = "outcome sentence scanner_limit below_scanner reason"
_FAMILY = {"family": described(COUNT, "How many claims share the level.")}
_NAMES = described(TEXTS, "Names of the groups.")


def _rows(types: Definitions) -> dict[type, Schema]:
    """Return what is written of those rows that have names of their own in files."""
    types.written = {
        of_groups.EquivalenceRow: row(
            "limit low high level p_value p_adjusted equivalent reason lead"
        )
    }
    types.written |= _of_crowns() | _of_scores() | _of_earlier_studies() | _of_groups(types)
    return types.written | _of_causes(types)


def _of_crowns() -> dict[type, Schema]:
    statistic = described(NUMBER_OR_NULL, "W of the Shapiro–Wilk test.")
    test = row("group n p_value reason", statistic=statistic)
    normal = described(array_of(test), "Each group's Shapiro–Wilk test.")
    numbers = described(array_of(NUMBER_OR_NULL), "The crowns' values.")
    return {
        of_crowns.Summary: row(_DESCRIBED, values=numbers),
        of_crowns.PairRow: row("group area measure n missing mean sd minimum maximum reason"),
        of_crowns.ToleranceRow: row(
            "group area tolerance_um source n within undecided outside share share_low share_high"
            " next_crown_um content confidence shapiro_p meets rests_on_model sentence reason"
        ),
        of_crowns.AssumptionRow: row(
            "area measure brown_forsythe_f brown_forsythe_p reason", normality=normal
        ),
        of_study.OddCrown: row("crown group odd score limit reason"),
        of_fit.FitLimitRow: row(
            "group part measure area title n within undecided share share_low share_high sentence",
            limit=described(TEXT, "The limit, in words."),
        ),
    }


def _of_groups(types: Definitions) -> dict[type, Schema]:
    limit = {"equivalence": described(types.of(of_groups.EquivalenceRow), "Against the limit.")}
    pairs = row("first second difference low high games_howell_p dunn_z dunn_p dunn_p_holm")
    return {
        of_groups.Comparison: row(
            f"{_CONTRAST} lead p_value p_adjusted standing primary {_END}",
            **_FAMILY,
            **_TESTS,
            **limit,
        ),
        of_groups.PrecisionComparison: row(
            f"{_CONTRAST} p_value p_adjusted permutations exact {_END}", **_FAMILY, **limit
        ),
        of_groups.OverallRow: row(
            "area measure lead p_value primary welch_f welch_df1 welch_df2 welch_p kruskal_h"
            " kruskal_df kruskal_p sentence reason",
            groups=_NAMES,
            post_hoc=described(array_of(pairs), "Each pair after it."),
        ),
    }


def _of_scores() -> dict[type, Schema]:
    counts = described(array_of(COUNT), "Crowns by score, the best first.")
    return {
        of_scores.AgreementRow: row(
            "item statistic value low high confidence crowns scores missing_scores words reason",
            examiners=described(TEXTS, "Who is compared."),
        ),
        of_scores.ScoreGroupRow: row(
            "item group n acceptable share share_low share_high", counts=counts
        ),
        of_scores.ScoreComparison: row(
            "item rank_statistic rank_method rank_p rank_p_adjusted outcome"
            " outcome_complete fisher_p sentence reason",
            groups=_NAMES,
            **_FAMILY,
        ),
        of_scores.ScoreCorrelation: row("item area measure n rho low high p_value sentence reason"),
        of_scores.ScannerRow: row(
            "area measure crowns operators trials repeatability reproducibility gauge crown_sd"
            " distance_repeatability scanner_share_of_sd scanner_share_of_variance"
            " distinct_categories icc_form icc icc_low icc_high smallest_difference reason",
            clamped=described(TEXTS, "Components of variance that were set to 0."),
        ),
    }


def _of_earlier_studies() -> dict[type, Schema]:
    counts: dict[str, Schema] = {}
    for when in ("earlier", "now"):
        limit = f"The area's tolerance {when}, µm; null if it had none."
        counts[f"tolerance_{when}_um"] = described(NUMBER_OR_NULL, limit)
        for what in ("within", "outside", "undecided"):
            counts[f"{what}_{when}"] = described(COUNT, f"Crowns {what} {when}.")
    return {
        of_earlier.EarlierRow: row(
            "group area measure n_earlier mean_earlier sd_earlier n_now mean_now sd_now difference"
            " low high confidence t df p_unadjusted sentence reason"
        ),
        of_earlier.EarlierTolerance: row("group area", **counts),
    }


def _of_causes(types: Definitions) -> dict[type, Schema]:
    cause = types.properties(Cause)
    shared = {name: key(name) for name in ("group", "crown")}
    shared |= {name: cause[name] for name in CAUSE_COLUMNS}
    more = "sd_between n without_odd without_odd_low without_odd_high"
    shared |= {name: key(name) for name in more.split()}
    types.written |= {of_causes.SharedCause: record(shared)}
    return {
        of_causes.SharedCause: record(shared),
        of_causes.GroupWhy: _group_why(types),
        of_causes.CauseComparison: row(
            "cause family unit first second n_first n_second mean_first mean_second difference low"
            " high lead p_value p_adjusted family_size outcome sentence reason",
            **_TESTS,
        ),
    }


def _group_why(types: Definitions) -> Schema:
    own = types.properties(of_causes.GroupWhy)
    kept = "title crowns sentences notes predicted remaining reason causes"
    sizes = row("cause family unit", values=described(map_of(NUMBER_OR_NULL), "By crown."))
    return row(
        "group total_um causes_um shared_um between_um share_together",
        **{name: own[name] for name in kept.split()},
        left_out=described(map_of(TEXT), "The other crowns, and why."),
        sizes=described(array_of(sizes), "Each stated cause's size in each crown."),
        correction=_correction(types),
    )


def study(types: Definitions) -> Schema:
    """Return the schema of study.json."""
    types.written = _rows(types)
    shares = described(map_of({"type": "array"}), "Of each map, share clipped and not measured.")
    scale = record(
        {
            "limit": described(NUMBER, "End of the scale."),
            "unit": described(TEXT, "Its unit."),
            "symmetric": described(YES_OR_NO, "Whether it goes to both sides of 0."),
        }
    )
    found = {
        "schema": described({"const": SCHEMA}, "Raised when a key changes its name or goes."),
        "direction": described(TEXT, "The direction that was judged first."),
        "plan": described(types.of(StudyPlan), "What the study file asked for."),
        "versions": described(map_of(TEXT), "Versions of what computed, by name."),
        "design": described(_design(), "The design."),
        "evaluation_points": described(COUNT, "Measuring points of the design."),
        "measured_on": described(_measured_on(), "What numbers rest on, by checksum."),
        "areas": described(map_of(NUMBER), "Areas and how large they are, mm²."),
        "missing_areas": described(map_of(TEXT), "Areas that could not be found, and why."),
        "crowns": described(array_of(_crown(types)), "The crowns, each as measured."),
        "left_out": described(array_of(_left_out()), "Scans that could not be used."),
        "pairs": described(array_of(types.of(Pair)), "Two crowns of a group on each other."),
        "parts": described(array_of(types.of(SpreadParts)), "What crowns share, and do not."),
        "repeats": described(array_of(_repeat(types)), "Repeated scans."),
        "warnings": described(TEXTS, "What a reader of the numbers should know."),
        "causes": described(array_of(_any_cause(types)), "Causes, of groups' means and of crowns."),
        "correction": described(map_of(_correction(types)), "Next factors by group."),
        "not_fitted": described(array_of(types.of(NotFitted)), "Crowns whose fit is not known."),
        "analysis": described(_analysis(types), "The statistics."),
        "map_scales": described(map_of(scale), "Colour scales of the maps."),
        "map_shares_clipped_unmeasured": shares,
        "files": described(TEXTS, "Files that were written with it."),
    }
    only_some = ("causes", "correction", "not_fitted")
    only_in_files = ("map_scales", "map_shares_clipped_unmeasured", "files")
    return record(found, optional=(*only_some, *only_in_files))


def _analysis(types: Definitions) -> Schema:
    head = {
        "schema": described({"const": "cuspwise study analysis"}, "Which document this is."),
        "schema_version": described({"const": ANALYSIS_SCHEMA_VERSION}, "Of this part."),
    }
    return record(head | types.properties(of_study.StudyAnalysis))


def _design() -> Schema:
    return record(
        {
            "name": described(TEXT, "What it is called."),
            "sha256": described(or_null(TEXT), "Of its file's bytes."),
            "triangles": described(COUNT, "How many triangles it has."),
        }
    )


def _measured_on() -> Schema:
    return record(
        {
            "schema": described({"const": MEASURED_ON_SCHEMA}, "Of this part."),
            "design_checksum": described(TEXT, "Of the repaired design's geometry."),
            "points": described(COUNT, "Measuring points."),
            "areas": described(map_of(TEXT), "Checksum of each area's points."),
        }
    )


def _left_out() -> Schema:
    return row("group reason remedy", name=described(TEXT, "The scan's name."))


def _crown_keys(types: Definitions) -> dict[str, Schema]:
    pose = row(
        "rms_um",
        verdict=described(TEXT, "How well the pose is determined, in one word."),
        reason=described(TEXT, "The same in words."),
        converged=described(YES_OR_NO, "Whether the best fit came to its end."),
        share_used=described(NUMBER_OR_NULL, "Share of the scan that took part."),
    )
    margin = or_null(record(types.properties(MarginSummary)))
    return {
        "name": described(TEXT, "What the crown is called."),
        "group": key("group"),
        "file": described(TEXT, "The scan's file."),
        "sha256": described(TEXT, "Of that file's bytes."),
        "triangles": described(COUNT, "How many triangles the scan has."),
        "T_design_scan": described(MATRIX, "Takes scan coordinates to design coordinates, mm."),
        "superimposition": described(pose, "How it lies on the design."),
        "measures": described(array_of(types.of(AreaMeasures)), "Per area and direction."),
        "verdicts": described(array_of(types.of(Verdict)), "Per area with a tolerance."),
        "unmatched": described(array_of(types.of(UnmatchedPiece)), "Unmatched scan surface."),
        "is_design": described(YES_OR_NO, "Whether the scan is the design itself."),
        "marks": described(array_of(types.of(MarkResult)), "Support marks."),
        "margin_profile": described(margin, "Along the margin, summed up; null without a line."),
        "warnings": described(TEXTS, "What a reader of the numbers should know."),
        "why": described(_why(types), "What this crown alone says of its causes."),
        "fit": described(_fit(types), "How it sits on its die."),
    }


def _crown(types: Definitions) -> Schema:
    return record(_crown_keys(types), optional=("why", "fit"))


def _repeat(types: Definitions) -> Schema:
    which = {name: key(name) for name in ("crown", "operator", "trial")}
    return record(which | _crown_keys(types), optional=("why", "fit"))


def _why(types: Definitions) -> Schema:
    return row(
        "share_together",
        sentences=described(TEXTS, "What a reader should know."),
        notes=described(TEXTS, "What could not be looked for, and why."),
        remaining=described(types.of(Remaining), "What no stated cause explains."),
        correction=_correction(types),
    )


def _fit(types: Definitions) -> Schema:
    return record(
        {
            "die": described(TEXT, "The die's file."),
            "verdict": described(TEXT, "within, outside or not_decidable."),
            "headline": described(TEXT, "The same in words."),
            "stop": described(TEXT, "rests, or cannot_go_on; empty without a seat."),
            "by_triple_scan": described(YES_OR_NO, "Whether a scan of the seated crown tells."),
            "judged": described(array_of(types.of(Judged)), "Each value against its limit."),
            "values": described(array_of(types.of(FitValue)), "What was measured."),
            "sentences": described(TEXTS, "What a reader should know."),
            "missing": described(map_of(TEXT), "What was not measured, and why."),
            "warnings": described(TEXTS, "What a reader of the numbers should know."),
            "T_die_crown": described(or_null(MATRIX), "Takes crown to die coordinates, mm."),
        }
    )


def _any_cause(types: Definitions) -> Schema:
    """A group's cause, or a crown's, which has less."""
    whole = types.written[of_causes.SharedCause]
    crowns = {"group", "crown", *CAUSE_COLUMNS}
    return {**whole, "required": [name for name in whole["required"] if name in crowns]}


def _correction(types: Definitions) -> Schema:
    factors = map_of(record(types.properties(Correction, "axis")))
    return described(or_null(factors), "The next enlargement factors by axis; null if none.")

"""Choices about the study of a scene: what is asked, where it is written, what is shown of it."""

from typing import Any

import bpy

from ...standalone_core.areas.area_set import AREA_NAMES
from ...standalone_core.setting import declared_in
from ...standalone_core.study.plan import MEASURES, USUAL_MEASURES, AnalysisPlan, StudyPlan
from ...standalone_core.words.names import area_words, measure_words
from ...standalone_core.words.text import capital
from ..blender.session import scene_of, settings_of
from ..drawing import colour_map
from ..study import study_store
from . import area_rows, choices

# Blender 4.5 warns of paths from the .blend where it is not told of them; 4.2 does not know how.
RELATIVE = {"PATH_SUPPORTS_BLEND_RELATIVE"} if bpy.app.version >= (4, 5, 0) else set()
Item = tuple[str, str, str, int]
_PLAN = declared_in(AnalysisPlan)
_AREA, _MEASURE = _PLAN["primary_area"], _PLAN["primary_measure"]
MAP_KINDS = (
    ("mean", "Mean", "Mean signed deviation of the group's crowns at each place"),
    ("sd", "Spread", "Standard deviation between the group's crowns at each place"),
    ("worst", "Worst Crown", "The deviation of the crown that deviates most at each place"),
    (
        "share",
        "Share Outside Tolerance",
        "Share of the group's crowns that are outside the whole crown's tolerance at each place",
    ),
    (
        "difference",
        "Difference Between Groups",
        "Mean of one group minus mean of another, coloured where it is told from chance",
    ),
)
MAIN_AREAS = [(n, capital(area_words(n)), "Compare the groups here") for n in AREA_NAMES]
MAIN_MEASURES = [(n, capital(measure_words(n)), "Compare the groups by it") for n in USUAL_MEASURES]
NOTHING = ("none", "–", "Run the study first", 0)
# Blender does not hold on to the texts of items that a function returns; without this they go.
_held: dict[str, list[Item]] = {}


def _offered(scene: Any, name: str) -> list[tuple[str, str, str]]:
    """Return what the kept study offers for a choice: key, title, tooltip."""
    kept = study_store.study_of(scene)
    if kept is None:
        return []
    if name == "area":
        return [(n, capital(area_words(n)), "Numbers of this area") for n in kept["areas"]]
    if name == "measure":
        return [(n, capital(measure_words(n)), "Numbers of this measure") for n in kept["measures"]]
    kind = "mean" if name == "map_group" else "difference"
    rows = [row for row in kept["maps"] if row["kind"] == kind]
    return [(row["group"], row["title"], "Show this map") for row in rows]


def _choice(name: str, title: str, description: str, update: Any = None) -> Any:
    """Return the property of a choice among what the kept study offers.

    What is chosen is kept by its key, so that it outlives a run that offers others.
    """
    store_name = f"{name}_key"

    def items(settings: Any, _context: Any) -> list[Item]:
        offered = enumerate(_offered(settings.id_data, name))
        _held[name] = [(*entry, number) for number, entry in offered] or [NOTHING]
        return _held[name]

    def get(settings: Any) -> int:
        keys = [entry[0] for entry in _offered(settings.id_data, name)]
        key = getattr(settings, store_name)
        return keys.index(key) if key in keys else 0

    def choose(settings: Any, number: int) -> None:
        keys = [entry[0] for entry in _offered(settings.id_data, name)]
        setattr(settings, store_name, keys[number] if number < len(keys) else "")

    return bpy.props.EnumProperty(
        name=title, description=description, items=items, get=get, set=choose, update=update
    )


def _map_chosen(_settings: Any, context: bpy.types.Context) -> None:
    if settings_of(context).study.shown:
        colour_map.refresh(scene_of(context))


class Comparison(bpy.types.PropertyGroup):
    """A comparison that comes after the main one."""

    area: bpy.props.StringProperty(name="Area", description="Compare the groups in this area")
    measure: bpy.props.EnumProperty(
        name="Measure",
        description="Compare the groups by this measure",
        items=[(n, capital(measure_words(n)), "Compare the groups by it") for n in MEASURES],
    )


class StudySettings(bpy.types.PropertyGroup):
    """Choices about the study of a scene."""

    folder: bpy.props.StringProperty(
        name="Folder",
        description=(
            "Where meshes, study file, kept results and report are written; a new or an empty "
            "folder. Left empty: beside the .blend, named after it"
        ),
        subtype="DIR_PATH",
        options={"ANIMATABLE", *RELATIVE},
    )
    equivalence_um: choices.number(
        _PLAN["equivalence_um"], default=0.0, more="0 tests none.", none=True
    )
    primary_area: bpy.props.EnumProperty(
        name=_AREA.label,
        description=f"{_AREA.meaning} {_AREA.more}".rstrip("."),
        items=MAIN_AREAS,
        default=_AREA.default,
    )
    primary_measure: bpy.props.EnumProperty(
        name=_MEASURE.label,
        description=_MEASURE.meaning.rstrip("."),
        items=MAIN_MEASURES,
    )
    keep_crowns: bpy.props.BoolProperty(
        name="Show Each Crown",
        description=(
            "After the study lay every scan on the design and keep its own numbers and map with "
            "it, as Check All does. Many fine scans make a large .blend"
        ),
        default=True,
    )
    equivalences: bpy.props.CollectionProperty(
        name="Equivalence Limits",
        description="The equivalence limits of single areas, where they are not that of all",
        type=area_rows.AreaEquivalence,
    )
    own_comparisons: bpy.props.BoolProperty(
        name="My Own Comparisons",
        description=(
            f"{_PLAN['secondary'].meaning} Off: the usual ones, as listed. Choose them before the "
            "crowns are measured"
        ),
    )
    comparisons: bpy.props.CollectionProperty(
        name="Comparisons",
        description="The comparisons after the main one, in the order in which they are tested",
        type=Comparison,
    )
    measures: bpy.props.EnumProperty(
        name="Measures",
        description=declared_in(StudyPlan)["measures"].meaning.rstrip("."),
        items=[(n, capital(measure_words(n)), "Compare the groups by it") for n in MEASURES],
        default=set(USUAL_MEASURES),
        options={"ENUM_FLAG"},
    )
    lead: choices.choice(_PLAN["lead"], renamed={"trimmed": "trimmed_means"})
    alpha: choices.of(_PLAN["alpha"])
    confidence: choices.of(_PLAN["confidence"])
    next_crown_content: choices.of(_PLAN["next_crown_content"])
    odd_false_alarm: choices.of(_PLAN["odd_false_alarm"])
    resamples: choices.of(_PLAN["resamples"])
    seed: choices.of(_PLAN["seed"])
    question: bpy.props.StringProperty(
        name="Question", description="The question that the study is to answer; for the report"
    )
    sample_size_rationale: bpy.props.StringProperty(
        name=_PLAN["sample_size_rationale"].label,
        description=f"{_PLAN['sample_size_rationale'].meaning} "
        f"{_PLAN['sample_size_rationale'].more}".rstrip("."),
    )
    earlier: bpy.props.StringProperty(
        name="Earlier Study",
        description=(
            "The study.json of an earlier study of the same design, to compare with. May stay empty"
        ),
        subtype="FILE_PATH",
        options={"ANIMATABLE", *RELATIVE},
    )
    area: _choice("area", "Area", "The area whose numbers the table shows")
    measure: _choice("measure", "Measure", "The measure that the table shows")
    map_kind: bpy.props.EnumProperty(
        name="Map",
        description="What the map on the design shows",
        items=MAP_KINDS,
        update=_map_chosen,
    )
    map_group: _choice("map_group", "Group", "The group whose map is shown", _map_chosen)
    map_pair: _choice("map_pair", "Groups", "The two groups whose difference is shown", _map_chosen)
    area_key: bpy.props.StringProperty(
        description="Key of what was chosen last", options={"HIDDEN"}
    )
    measure_key: bpy.props.StringProperty(
        description="Key of what was chosen last", options={"HIDDEN"}
    )
    map_group_key: bpy.props.StringProperty(
        description="Key of what was chosen last", options={"HIDDEN"}
    )
    map_pair_key: bpy.props.StringProperty(
        description="Key of what was chosen last", options={"HIDDEN"}
    )
    shown: bpy.props.BoolProperty(
        description="Whether the colours shown are a map of the study", options={"HIDDEN"}
    )


CLASSES = (Comparison, StudySettings)

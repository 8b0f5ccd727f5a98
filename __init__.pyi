# The public names and where each comes from: for type checkers, editors and __init__.py, which
# loads them from these modules. There is no other list.

from .standalone_core.areas.area_set import AreaSet as AreaSet
from .standalone_core.areas.files import load_areas as load_areas
from .standalone_core.areas.files import save_areas as save_areas
from .standalone_core.areas.find import find_areas as find_areas
from .standalone_core.areas.settings import AreaSettings as AreaSettings
from .standalone_core.areas.support_marks import SupportMark as SupportMark
from .standalone_core.causes.result import Cause as Cause
from .standalone_core.causes.result import CausesResult as CausesResult
from .standalone_core.causes.settings import CausesSettings as CausesSettings
from .standalone_core.causes.settings import ProductionFacts as ProductionFacts
from .standalone_core.check import check as check
from .standalone_core.check import check_meshes as check_meshes
from .standalone_core.check_result import CheckResult as CheckResult
from .standalone_core.check_settings import CheckSettings as CheckSettings
from .standalone_core.demo.crown import DemoCrown as DemoCrown
from .standalone_core.demo.crown import demo_crown as demo_crown
from .standalone_core.demo.production import ProducedCrown as ProducedCrown
from .standalone_core.demo.production import produce as produce
from .standalone_core.demo.production_errors import ProductionErrors as ProductionErrors
from .standalone_core.demo.small_study import demo_study as demo_study
from .standalone_core.deviation.field import DeviationField as DeviationField
from .standalone_core.deviation.field import measure_deviation as measure_deviation
from .standalone_core.deviation.measures import AreaMeasures as AreaMeasures
from .standalone_core.deviation.measures import measure_areas as measure_areas
from .standalone_core.deviation.patches import Patch as Patch
from .standalone_core.deviation.patches import find_patches as find_patches
from .standalone_core.deviation.settings import DeviationSettings as DeviationSettings
from .standalone_core.deviation.settings import MarkSettings as MarkSettings
from .standalone_core.deviation.settings import PatchSettings as PatchSettings
from .standalone_core.deviation.tolerances import Tolerances as Tolerances
from .standalone_core.errors import AreaError as AreaError
from .standalone_core.errors import CuspwiseError as CuspwiseError
from .standalone_core.errors import FileError as FileError
from .standalone_core.errors import MeshError as MeshError
from .standalone_core.errors import OtherDesignError as OtherDesignError
from .standalone_core.errors import ReportError as ReportError
from .standalone_core.errors import SettingError as SettingError
from .standalone_core.errors import StudyError as StudyError
from .standalone_core.errors import SuperimpositionError as SuperimpositionError
from .standalone_core.explain import explain as explain
from .standalone_core.fit.result import FitResult as FitResult
from .standalone_core.fit.settings import ContactSettings as ContactSettings
from .standalone_core.fit.settings import FitSettings as FitSettings
from .standalone_core.fit.settings import GapSettings as GapSettings
from .standalone_core.fit.settings import SeatSettings as SeatSettings
from .standalone_core.fit.settings import WallSettings as WallSettings
from .standalone_core.mesh.files import MeshFile as MeshFile
from .standalone_core.mesh.files import read_mesh as read_mesh
from .standalone_core.mesh.health import HealthReport as HealthReport
from .standalone_core.mesh.health import inspect_mesh as inspect_mesh
from .standalone_core.mesh.refine import EvaluationMesh as EvaluationMesh
from .standalone_core.mesh.refine import evaluation_mesh as evaluation_mesh
from .standalone_core.mesh.repair import Repair as Repair
from .standalone_core.mesh.repair import repair_mesh as repair_mesh
from .standalone_core.mesh.triangle_mesh import TriangleMesh as TriangleMesh
from .standalone_core.mesh.write import write_mesh as write_mesh
from .standalone_core.report.check.output import write_check as write_check
from .standalone_core.report.drawing.matplotlib_figure import Figure as Figure
from .standalone_core.report.fit.output import write_fit as write_fit
from .standalone_core.report.study.figures import study_figures as study_figures
from .standalone_core.report.study.output import write_study as write_study
from .standalone_core.setting import ImplausibleError as ImplausibleError
from .standalone_core.study.analysis.analyse import analyse_study as analyse_study
from .standalone_core.study.analysis.results.analysis import StudyAnalysis as StudyAnalysis
from .standalone_core.study.crowns_needed import CrownsNeeded as CrownsNeeded
from .standalone_core.study.crowns_needed import crowns_needed as crowns_needed
from .standalone_core.study.file.inputs import StudyInputs as StudyInputs
from .standalone_core.study.file.inputs import read_study as read_study
from .standalone_core.study.file.mistakes import StudyFileError as StudyFileError
from .standalone_core.study.file.new import WrittenStudy as WrittenStudy
from .standalone_core.study.file.new import new_study as new_study
from .standalone_core.study.measuring.results import StudyRun as StudyRun
from .standalone_core.study.measuring.run import run_study as run_study
from .standalone_core.study.plan import AnalysisPlan as AnalysisPlan
from .standalone_core.study.plan import GroupPlan as GroupPlan
from .standalone_core.study.plan import StudyPlan as StudyPlan
from .standalone_core.superimpose.result import Superimposition as Superimposition
from .standalone_core.superimpose.settings import SuperimposeSettings as SuperimposeSettings
from .standalone_core.superimpose.superimposition import superimpose as superimpose
from .standalone_core.surface.closest import SurfaceIndex as SurfaceIndex

__version__: str

def register() -> None: ...
def unregister() -> None: ...

"""Draws pictures of a coloured surface with Blender, without a screen, in a process of its own.

``python pictures.py JOB_FOLDER`` reads ``job.npz`` (what to draw) and ``job.json`` (how), writes
one PNG per shot (a view of a colouring) into the folder and prints one line per finished picture.
The colours and the layout of the legend come ready made; this file only turns, shades and draws
them. It stands alone, since the process that runs it has one task and Blender can be loaded once
per process.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

import numpy as np

TITLE_PX = 76  # strip above the surface
LEGEND_PX = 222  # strip below it
BARE_TOP_PX = 16  # the same where there is no legend, and the title stands outside the picture
BARE_BASE_PX = 70
MARGIN_PX = 36
CAMERA_Z = 6000.0
FRONT_Z = 4000.0  # words and legend lie in front of the surface, the backdrop behind it
BACK_Z = -4000.0

INK = "#1c2530"
FAINT_INK = "#5a6672"
BACKDROP = "#ffffff"


def main(arguments: list[str]) -> int:
    """Draw the job in the folder given as the only argument; return the exit code."""
    folder = Path(arguments[0])
    job = json.loads((folder / "job.json").read_text(encoding="utf-8"))
    with np.load(folder / "job.npz") as arrays:
        surface = {name: arrays[name] for name in arrays.files}
    stage = Stage(job, surface)
    for shot in sorted(job["shots"], key=lambda shot: shot["view"]):
        stage.draw(job["views"][shot["view"]], shot["colours"], folder / f"{shot['file']}.png")
        print(f"drawn {shot['file']}", flush=True)
    return 0


class Stage:
    """A scene whose unit is the pixel: a fixed camera, a legend in front, the surface turned.

    Parameters
    ----------
    job : dict
        ``width``, ``height``, ``engine``, ``legend`` (None: bare pictures), ``caption``,
        ``views``, ``shots``, ``smoothing``, ``samples``.
    surface : dict of arrays
        ``points`` (n, 3) mm, ``normals`` (n, 3), ``colours`` (k, n, 3) uint8 sRGB, one row per
        colouring, ``faces`` (m, 3).
    """

    def __init__(self, job: dict[str, Any], surface: dict[str, np.ndarray]) -> None:
        import bpy

        self.bpy: Any = bpy
        self.job = job
        self.surface = surface
        self.bare = job["legend"] is None
        self.top = BARE_TOP_PX if self.bare else TITLE_PX
        self.base = BARE_BASE_PX if self.bare else LEGEND_PX
        bpy.ops.wm.read_factory_settings(use_empty=True)
        self.scene: Any = bpy.context.scene
        self.font = self._load_font()
        self.material = self._make_material()
        self._set_up_rendering()
        self._set_up_camera()
        self.centre = 0.5 * (surface["points"].min(axis=0) + surface["points"].max(axis=0))
        self.pixels_per_mm = self._fit()
        self.body = self._add_mesh("surface", surface["points"], surface["faces"])
        self.titles: list[Any] = []
        self.turned, self.light = "", np.zeros(0)
        self._add_backdrop()
        if not self.bare:
            self._add_legend()
        self._add_scale_bar()

    # Setting up ---------------------------------------------------------------------------

    def _set_up_rendering(self) -> None:
        scene, job = self.scene, self.job
        scene.render.resolution_x, scene.render.resolution_y = job["width"], job["height"]
        scene.render.resolution_percentage = 100
        scene.render.image_settings.file_format = "PNG"
        scene.render.image_settings.color_mode = "RGB"
        scene.render.image_settings.compression = 30
        # The palette must arrive as it was chosen: no film look, no dithering.
        scene.display_settings.display_device = "sRGB"
        scene.view_settings.view_transform = "Standard"
        scene.view_settings.look = "None"
        scene.render.dither_intensity = 0.0
        scene.render.engine = job["engine"]
        if job["engine"] == "CYCLES":
            scene.cycles.device = "CPU"
            scene.cycles.samples = job["samples"]
            scene.cycles.use_denoising = False
            scene.cycles.use_adaptive_sampling = False
            scene.cycles.max_bounces = 0
            scene.cycles.pixel_filter_type = "BLACKMAN_HARRIS"
            scene.cycles.seed = 0
        else:
            shading = scene.display.shading
            shading.light = "FLAT"
            shading.color_type = "VERTEX"
            scene.display.render_aa = job["smoothing"]

    def _set_up_camera(self) -> None:
        camera = self.bpy.data.cameras.new("camera")
        camera.type = "ORTHO"
        camera.ortho_scale = max(self.job["width"], self.job["height"])
        camera.clip_start, camera.clip_end = 1.0, 2.0 * CAMERA_Z
        placed = self.bpy.data.objects.new("camera", camera)
        placed.location = (0.0, 0.0, CAMERA_Z)
        self.scene.collection.objects.link(placed)
        self.scene.camera = placed

    def _make_material(self) -> Any:
        """Make a material that shines in exactly the colours of the vertices."""
        material = self.bpy.data.materials.new("colours")
        material.use_nodes = True
        material.cycles.emission_sampling = "NONE"  # seen directly, never sampled as a lamp
        nodes, links = material.node_tree.nodes, material.node_tree.links
        nodes.clear()
        colour = nodes.new("ShaderNodeVertexColor")
        colour.layer_name = "colour"
        shine = nodes.new("ShaderNodeEmission")
        output = nodes.new("ShaderNodeOutputMaterial")
        links.new(colour.outputs["Color"], shine.inputs["Color"])
        links.new(shine.outputs["Emission"], output.inputs["Surface"])
        return material

    def _load_font(self) -> Any:
        """Load a font that Blender ships: its digits are unlike any letter, its outlines plain.

        Outlines of fonts with variable weight overlap themselves and fill wrongly.
        """
        path = Path(self.bpy.utils.system_resource("DATAFILES", path="fonts"))
        path /= "DejaVuSansMono.woff2"
        return self.bpy.data.fonts.load(str(path)) if path.is_file() else None

    def _fit(self) -> float:
        """Return pixels per mm so that the surface fits every view: one scale for all of them."""
        width = self.job["width"] - 2 * MARGIN_PX
        height = self.job["height"] - self.top - self.base
        scale = np.inf
        for view in self.job["views"]:
            turned = (self.surface["points"] - self.centre) @ _turn(view).T
            half = np.abs(turned[:, :2]).max(axis=0)
            scale = min(scale, 0.5 * width / half[0], 0.5 * height / half[1])
        return float(scale)

    # Drawing ------------------------------------------------------------------------------

    def draw(self, view: dict[str, Any], colouring: int, path: Path) -> None:
        """Draw one view of one colouring: turn the surface, shade it, write the picture."""
        if self.turned != view["name"]:
            self._turn_to(view)
        mesh = self.body.data
        self._paint(mesh, self.surface["colours"][colouring] / 255.0, self.light)
        mesh.update()
        self.scene.render.filepath = str(path)
        self.bpy.ops.render.render(write_still=True)

    def _turn_to(self, view: dict[str, Any]) -> None:
        turn = _turn(view)
        points = (self.surface["points"] - self.centre) @ turn.T * self.pixels_per_mm
        points[:, 1] += 0.5 * (self.base - self.top)
        positions = self.body.data.attributes["position"].data
        positions.foreach_set("vector", points.astype(np.float32).ravel())
        self.light = _shade(self.surface["normals"] @ turn.T)
        if not self.bare:
            self._name(view["title"])
        self.turned = view["name"]

    def _paint(self, mesh: Any, srgb: np.ndarray, light: np.ndarray | None = None) -> None:
        if light is not None:
            srgb = _encode(_decode(srgb) * light[:, None])
        if "colour" not in mesh.color_attributes:
            mesh.color_attributes.new("colour", "BYTE_COLOR", "POINT")
        # Fetched by name every time: adding an attribute moves the others in memory.
        layer = mesh.color_attributes["colour"]
        opaque = np.ones((len(srgb), 4), dtype=np.float32)
        opaque[:, :3] = srgb
        layer.data.foreach_set("color_srgb", opaque.ravel())
        mesh.color_attributes.active_color_name = "colour"

    def _add_mesh(self, name: str, points: np.ndarray, faces: np.ndarray) -> Any:
        bpy = self.bpy
        mesh = bpy.data.meshes.new(name)
        sides = faces.shape[1]
        mesh.vertices.add(len(points))
        mesh.attributes["position"].data.foreach_set("vector", points.astype(np.float32).ravel())
        mesh.loops.add(faces.size)
        mesh.loops.foreach_set("vertex_index", faces.astype(np.int32).ravel())
        mesh.polygons.add(len(faces))
        starts = np.arange(0, faces.size, sides, dtype=np.int32)
        mesh.polygons.foreach_set("loop_start", starts)
        mesh.update(calc_edges=True)
        mesh.materials.append(self.material)
        body = bpy.data.objects.new(name, mesh)
        self.scene.collection.objects.link(body)
        return body

    def _add_boxes(self, name: str, boxes: list[tuple[float, float, float, float, str]]) -> Any:
        """Add flat boxes (left, bottom, right, top, colour) in pixels from the lower left."""
        corners, colours = [], []
        for left, bottom, right, top, colour in boxes:
            corners += [(left, bottom), (right, bottom), (right, top), (left, top)]
            colours += [_rgb(colour)] * 4
        z = BACK_Z if name == "backdrop" else FRONT_Z
        flat = np.column_stack([self._place(np.array(corners)), np.full(len(corners), z)])
        body = self._add_mesh(name, flat, np.arange(len(corners)).reshape(-1, 4))
        self._paint(body.data, np.array(colours))
        return body

    def _place(self, pixels: np.ndarray) -> np.ndarray:
        return pixels - 0.5 * np.array([self.job["width"], self.job["height"]])

    def _add_words(
        self, text: str, x: float, y: float, size: float, *, align: str = "LEFT", ink: str = INK
    ) -> Any:
        """Add words with their baseline at (x, y) pixels from the lower left."""
        bpy = self.bpy
        curve = bpy.data.curves.new("words", "FONT")
        curve.body, curve.size, curve.align_x = text, size, align
        curve.fill_mode = "FRONT"
        if self.font is not None:
            curve.font = self.font
        written = bpy.data.objects.new("words", curve)
        self.scene.collection.objects.link(written)
        graph = bpy.context.evaluated_depsgraph_get()
        mesh = bpy.data.meshes.new_from_object(written.evaluated_get(graph))
        bpy.data.objects.remove(written)
        bpy.data.curves.remove(curve)
        mesh.materials.clear()
        mesh.materials.append(self.material)
        self._paint(mesh, np.tile(_rgb(ink), (len(mesh.vertices), 1)))
        body = bpy.data.objects.new("words", mesh)
        body.location = (*self._place(np.array([x, y])), FRONT_Z + 1.0)
        self.scene.collection.objects.link(body)
        return body

    def _name(self, title: str) -> None:
        for body in self.titles:
            self.bpy.data.objects.remove(body)
        top = self.job["height"] - 54
        self.titles = [self._add_words(title, MARGIN_PX, top, 36)]
        if self.job.get("caption"):
            right = self.job["width"] - MARGIN_PX
            self.titles.append(
                self._add_words(self.job["caption"], right, top, 24, align="RIGHT", ink=FAINT_INK)
            )

    def _add_backdrop(self) -> None:
        width, height = self.job["width"], self.job["height"]
        self._add_boxes("backdrop", [(-width, -height, 2 * width, 2 * height, BACKDROP)])

    def _add_scale_bar(self) -> None:
        """Add a bar of a round length in mm, the same in every view."""
        longest = (0.25 if self.bare else 0.2) * self.job["width"] / self.pixels_per_mm
        length = max(
            (v for v in (0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50, 100) if v <= longest), default=0
        )
        if not length:
            return
        right, y = self.job["width"] - MARGIN_PX, (14 if self.bare else LEGEND_PX + 8)
        left = right - length * self.pixels_per_mm
        ends = [(x - 1.5, y - 5, x + 1.5, y + 8, INK) for x in (left, right)]
        self._add_boxes("scale", [(left, y, right, y + 3, INK), *ends])
        size = 34 if self.bare else 25
        self._add_words(f"{length:g} mm", 0.5 * (left + right), y + 16, size, align="CENTER")

    def _add_legend(self) -> None:
        legend = self.job["legend"]
        left, right = 0.15 * self.job["width"], 0.85 * self.job["width"]
        bottom, top = 110.0, 148.0
        span = right - left
        colours = legend["colours"]
        width = span / len(colours)
        boxes = [
            (left + k * width, bottom, left + (k + 1) * width, top, colour)
            for k, colour in enumerate(colours)
        ]
        boxes += _frame(left, bottom, right, top, INK)
        for tick in legend["ticks"]:
            x = left + span * tick["position"]
            boxes.append((x - 1.0, bottom - 9, x + 1.0, bottom, INK))
            self._add_words(tick["text"], x, bottom - 40, 28, align="CENTER")
        if legend["band"]:
            low, high = (left + span * end for end in legend["band"])
            boxes += [
                (low - 1.5, bottom, low + 1.5, top + 13, INK),
                (high - 1.5, bottom, high + 1.5, top + 13, INK),
                (low - 1.5, top + 10, high + 1.5, top + 13, INK),
            ]
            middle = 0.5 * (low + high)
            self._add_words(legend["tolerance_text"], middle, top + 24, 25, align="CENTER")
        self._add_words("missing", left - 18, bottom + 10, 27, align="RIGHT")
        self._add_words("excess", right + 18, bottom + 10, 27)
        self._add_words("µm", right + 64, bottom - 40, 28)
        boxes.append((left, 18, left + 40, 42, legend["unmeasured_colour"]))
        boxes += _frame(left, 18, left + 40, 42, INK)
        self._add_words(legend["unmeasured_text"], left + 54, 21, 25)
        self._add_words(legend["clipped_text"], right, 21, 25, align="RIGHT")
        self._add_boxes("legend", boxes)


def _frame(
    left: float, bottom: float, right: float, top: float, colour: str
) -> list[tuple[float, float, float, float, str]]:
    return [
        (left - 1, bottom - 1, right + 1, bottom, colour),
        (left - 1, top, right + 1, top + 1, colour),
        (left - 1, bottom, left, top, colour),
        (right, bottom, right + 1, top, colour),
    ]


def _turn(view: dict[str, Any]) -> np.ndarray:
    """Return the turn that brings a view's directions to the camera's right, up and front."""
    front = np.array(view["towards_viewer"], dtype=np.float64)
    up = np.array(view["up"], dtype=np.float64)
    front = front / np.linalg.norm(front)
    up = up - (up @ front) * front
    up = up / np.linalg.norm(up)
    return np.array([np.cross(up, front), up, front])


def _shade(normals: np.ndarray) -> np.ndarray:
    """Return the light on each vertex, (n,), for normals in the camera's frame.

    Kept mild so that a colour can still be found on the legend: places that face the viewer or
    the light keep their colour exactly, the steepest ones keep three fifths of their light.
    """
    direction = np.array([-0.35, 0.45, 0.82])
    cosine = normals @ (direction / np.linalg.norm(direction))
    # Back sides are seen through open borders only; they are lit as their front would be.
    cosine = np.where(normals[:, 2] < 0.0, -cosine, cosine)
    rim = 0.3 * (1.0 - np.abs(normals[:, 2])) ** 4  # sets the outline off from the backdrop
    light: np.ndarray = np.clip(0.6 + 0.4 * (cosine + 0.1) / 0.92 - rim, 0.6, 1.0)
    return light


def _rgb(colour: str) -> np.ndarray:
    return np.array([int(colour[k : k + 2], 16) for k in (1, 3, 5)]) / 255.0


def _decode(srgb: np.ndarray) -> np.ndarray:
    decoded: np.ndarray = np.where(srgb <= 0.04045, srgb / 12.92, ((srgb + 0.055) / 1.055) ** 2.4)
    return decoded


def _encode(linear: np.ndarray) -> np.ndarray:
    encoded: np.ndarray = np.where(
        linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1.0 / 2.4) - 0.055
    )
    return encoded


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))

"""Panels and jobs, driven without a window by stand-ins for its layout and timer."""

from __future__ import annotations

import itertools
from types import SimpleNamespace
from typing import Any

DEFAULT_PIXELS, NARROW_PIXELS = 291, 215
# As Blender lays them out, measured in a window: what is beside a panel, a box's rim, a list's
# rim and scroll bar, a symbol, and what a label needs beside its words.
BESIDE_PANEL, RIM, BESIDE_LIST, SYMBOL, BESIDE_WORDS = 56.0, 10.0, 39.0, 22.0, 4.0
BESIDE_NUMBER = 30.0  # the arrows of a field, and a gap between its name and the number


class Layout:
    """Takes whatever a panel draws and notes it; refuses what Blender would refuse or cut off.

    A label with a number must be no wider than its column, in Blender's own font; so must the
    words on a button.
    """

    def __init__(
        self,
        notes: list[str],
        bpy: Any,
        width: float = DEFAULT_PIXELS - BESIDE_PANEL,
        shares: Any = None,
    ) -> None:
        self.notes, self.bpy, self.width = notes, bpy, width
        self.shares = shares  # of the parts of a split still to come; None where each has all
        self.row_items: list[tuple[str, float]] | None = None

    def _share(self) -> float:
        return self.width if self.shares is None else self.width * next(self.shares)

    def _part(self, **_options: Any) -> Layout:
        return Layout(self.notes, self.bpy, self._share())

    column = grid_flow = _part

    def row(self, **_options: Any) -> Layout:
        """A row, whose parts must have room beside each other."""
        made = self._part()
        made.row_items = []
        return made

    def box(self) -> Layout:
        """A box, which is a little narrower inside."""
        made = self._part()
        made.width -= RIM
        return made

    def split(self, *, factor: float = 0.0, **_options: Any) -> Layout:
        """Two parts, or as many alike as come."""
        assert factor
        return Layout(self.notes, self.bpy, self._share(), itertools.chain([factor, 1.0 - factor]))

    def panel(self, name: str, *, default_closed: bool = False) -> tuple[Layout, Layout]:
        """An open part of a panel."""
        del name, default_closed
        return self._part(), self._part()

    def _holds(self, text: str, beside: float) -> None:
        """Refuse words with a number that are wider than there is room."""
        if text and any(letter.isdigit() for letter in text):
            needed, room = words_pixels(text) + beside, self._share()
            if self.row_items is not None:
                needed += sum(width for _, width in self.row_items)
            assert needed <= room, f"{text!r} needs {needed:.0f} pixels and has {room:.0f}"
        elif self.shares is not None:
            self._share()
        if self.row_items is not None:
            self.row_items.append((text, words_pixels(text) + beside))

    def label(self, *, text: str = "", icon: str = "NONE", icon_value: int = 0) -> None:
        assert icon_value >= 0
        icons = self.bpy.types.UILayout.bl_rna.functions["label"].parameters["icon"].enum_items
        assert icon in icons
        self._holds(text, BESIDE_WORDS + (0.0 if icon == "NONE" else SYMBOL))
        self.notes.append(text)

    def prop(self, data: Any, name: str, **options: Any) -> None:
        assert name in data.bl_rna.properties
        known = data.bl_rna.properties[name]
        if known.type in ("FLOAT", "INT") and not known.is_array:
            title = options.get("text", known.name)
            self._holds(f"{title} {getattr(data, name):.3g}", BESIDE_NUMBER)
        self.notes.append(name)

    def operator(
        self, name: str, *, text: str | None = None, icon: str = "NONE", **_options: Any
    ) -> Any:
        module, _, function = name.partition(".")
        getattr(getattr(self.bpy.ops, module), function).get_rna_type()
        self._holds(text or "", BESIDE_WORDS + (0.0 if icon == "NONE" else SYMBOL))
        self.notes.append(name if text is None else text)
        return SimpleNamespace()

    def operator_menu_enum(
        self, name: str, choice: str, *, text: str = "", icon: str = "NONE"
    ) -> Any:
        del icon
        module, _, function = name.partition(".")
        rna = getattr(getattr(self.bpy.ops, module), function).get_rna_type()
        assert choice in rna.properties
        self.notes.append(text)
        return SimpleNamespace()

    def template_list(
        self, kind: str, _name: str, data: Any, items: str, active: Any, index: str, **_options: Any
    ) -> None:
        cls = getattr(self.bpy.types, kind)
        for number, item in enumerate(getattr(data, items)):
            line = Layout(self.notes, self.bpy, self.width - BESIDE_LIST)
            cls.draw_item(None, None, line, data, item, 0, active, index, number)

    def progress(self, *, factor: float, text: str) -> None:
        self.notes.append(f"{text} {factor:.0%}")


def words_pixels(text: str) -> float:
    """Width of words in Blender's own font at its usual size."""
    import blf

    blf.size(0, 11.0)
    return float(blf.dimensions(0, text)[0])


def sidebar(case: SimpleNamespace, width: int = DEFAULT_PIXELS) -> SimpleNamespace:
    """What a panel asks of the place that it is drawn in."""
    return SimpleNamespace(
        scene=case.scene,
        region=SimpleNamespace(width=width),
        preferences=SimpleNamespace(
            system=SimpleNamespace(ui_scale=1.0),
            ui_styles=[SimpleNamespace(widget=SimpleNamespace(points=11.0))],
        ),
        window_manager=case.bpy.context.window_manager,
    )


def drawn(case: SimpleNamespace, width: int = DEFAULT_PIXELS) -> list[str]:
    """Everything that the sidebar says at a width, the usual one if none is given."""
    notes: list[str] = []
    context = sidebar(case, width)
    for cls in case.part("addon.panels").CLASSES:
        polled = "poll" not in vars(cls) or cls.poll(context)
        if issubclass(cls, case.bpy.types.Panel) and polled:
            layout = Layout(notes, case.bpy, width - BESIDE_PANEL)
            cls.draw(SimpleNamespace(layout=layout), context)
    return notes


def test_sidebar_says_what_is_next(empty: SimpleNamespace) -> None:
    said = " ".join(drawn(empty))
    assert "Import or choose the design, the crown that was modelled." in said
    assert "Nothing measured yet." in said


def test_sidebar_of_an_unchecked_crown(crown: SimpleNamespace) -> None:
    said = " ".join(drawn(crown))
    assert "Press Check Crown to do everything with the defaults." in said
    assert "1 unit = 1 mm" in said
    assert "longest side" in said


def test_sidebar_of_a_checked_crown(checked: SimpleNamespace) -> None:
    store = checked.part("addon.check.store")
    micrometres = checked.part("standalone_core.report.check.sentences").micrometres
    notes = drawn(checked)
    said = " ".join(notes)
    assert "Scan: outside tolerance" in notes  # the margin's, of so coarse a mesh
    kept = store.result_of(checked.scan)
    for row in store.rows_of(kept):
        assert f"RMS {micrometres(row['rms_um'])} µm" in said
    assert "Whole crown: within tolerance" in notes
    assert "Intaglio" in notes  # no tolerance, no verdict
    worst = kept["check"]["patches"][0]
    assert micrometres(worst["peak_um"], signed=True, digits=0) in notes
    digits = 2 if worst["area_mm2"] < 10.0 else 1
    assert f"{worst['area_mm2']:.{digits}f} mm²" in notes
    assert "The scan lies on its design." in said
    checked.scan.location.x += 1.0
    checked.bpy.context.view_layer.update()
    assert "Out of date: Scan or design was moved." in " ".join(drawn(checked))


def test_sidebar_says_why_a_crown_is_outside(spoilt: SimpleNamespace) -> None:
    """Both directions, unmatched surface, the scanner, the margin, and what a patch is."""
    store = spoilt.part("addon.check.store")
    margin_line = spoilt.part("standalone_core.report.check.margin_words").margin_line
    notes = drawn(spoilt)
    said = " ".join(notes)
    verdicts = {v.area: v for v in store.verdicts_of(store.result_of(spoilt.scan))}
    assert "Outside tolerance: whole crown" in said
    assert "Margin: outside tolerance" in notes
    assert "The scan has surface that the design has not." in said
    for verdict in verdicts.values():
        assert f"from scan: {verdict.back_mean_abs_um:.1f} · RMS" in said
    piece = verdicts["margin"]
    assert f"unmatched {piece.unmatched_mm2:.2f} mm², {piece.unmatched_um:.0f} µm high" in notes
    assert verdicts["margin"].caveat in said
    assert margin_line(store.profile_of(spoilt.scan).summary) in said
    patches = spoilt.scan.cuspwise.patches
    spoilt.scan.cuspwise.patch_index = next(k for k, p in enumerate(patches) if p.unmatched)
    again = " ".join(drawn(spoilt))
    assert "Unmatched: scan surface that the design has not." in again
    assert "unmatched" in notes
    spoilt.settings.show_margin = True
    details = spoilt.part("standalone_core.report.check.margin_words").margin_details
    shown = " ".join(drawn(spoilt))
    for line in details(store.profile_of(spoilt.scan).summary):
        assert line in shown
    spoilt.settings.scanner_um = 1.0
    assert verdicts["margin"].caveat not in " ".join(drawn(spoilt))


def test_sidebar_names_contradictions(spoilt: SimpleNamespace) -> None:
    """A limit between what the two directions say of the whole crown."""
    store = spoilt.part("addon.check.store")
    whole = store.verdicts_of(store.result_of(spoilt.scan))[0]
    between = 0.5 * (whole.mean_abs_um + whole.back_mean_abs_um)
    spoilt.settings.tolerance_whole_um = between
    assert "The two directions contradict each other" in " ".join(drawn(spoilt))
    assert store.verdicts_of(store.result_of(spoilt.scan))[0].contradiction


def test_sidebar_of_the_design_in_place_of_a_scan(
    crown: SimpleNamespace, surfaces: SimpleNamespace, extension: SimpleNamespace
) -> None:
    """The reason stands once, above all areas."""
    crown.settings.scans[0].scan = extension.add_object("Copy", surfaces.design)
    assert crown.bpy.ops.cuspwise.check_crown() == {"FINISHED"}
    said = " ".join(drawn(crown))
    assert "Not decidable: whole crown, occlusal and margin." in said
    same = extension.part("standalone_core.deviation.verdict").SAME_SURFACE
    assert said.count(same) == 1  # no warning says it again
    assert said.count("For the reason given at the top.") == 3


def test_the_areas_are_listed_with_what_is_missing(checked: SimpleNamespace) -> None:
    """In words that serve here: Blender has no options of a command line."""
    checked.design.vertex_groups.new(name="Area: mine").add([1, 2, 3], 1.0, "REPLACE")
    checked.design.vertex_groups.new(name="Area: support: 1").add([4], 1.0, "REPLACE")
    notes = drawn(checked)
    said = " ".join(notes)
    assert "No mesial contact and distal contact: The mesial direction is not given." in said
    assert "What is missing can be painted" in said
    assert "--" not in said
    assert not [note for note in notes if "_mm" in note and " " in note]
    own = ["whole crown", "external", "intaglio", "occlusal", "axial walls", "margin", "fossae"]
    shown = [note for note in notes if note in (*own, "mine", "supports")]
    listed = [*own, "mine", "supports"]
    assert shown[: len(listed)] == listed
    before = len(notes)
    checked.settings.show_areas = True
    assert len(drawn(checked)) == before + len(listed)  # an eye beside each but the whole


def test_sidebar_of_an_implausible_size(crown: SimpleNamespace) -> None:
    crown.design.scale = (90.0, 90.0, 90.0)
    crown.bpy.context.view_layer.update()
    assert "Choose the length of a unit" in " ".join(drawn(crown))


def test_the_study_question_stands_above_the_button(empty: SimpleNamespace) -> None:
    """It is to be answered before the crowns are measured."""
    notes = drawn(empty)
    assert notes.index("Study Question") < notes.index("equivalence_um")
    assert notes.index("equivalence_um") < notes.index("cuspwise.run_study")


def test_no_number_is_cut_off_in_a_narrow_sidebar(spoilt: SimpleNamespace) -> None:
    """The stand-in refuses it at the usual width in every test; here at three quarters of it."""
    spoilt.settings.show_margin = True
    spoilt.scan.name = "Upper left six, printed on Monday, second layer thickness"
    spoilt.scan.cuspwise.patches.clear()  # whose rows hold three columns at the usual width
    said = " ".join(drawn(spoilt, NARROW_PIXELS)).split()
    for row in spoilt.part("addon.check.store").rows_of(
        spoilt.part("addon.check.store").result_of(spoilt.scan)
    ):
        assert f"{row['rms_um']:.1f}" in said

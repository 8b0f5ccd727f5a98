"""Mistakes in what study files say of dies and fit, with what is said about each."""

from __future__ import annotations

CASES = r"""
[fit]
in_design_frame = false
--> 6: fit: There is no die for any crown. Give die = "FILE" below [fit], or dies =
--> ["FILES"] to every group.

[fit_gap]
marginal_limit_um = 100
--> fit: There is no die for any crown. Give die = "FILE" below [fit], or dies =
--> ["FILES"] to every group.

[fit]
die = "dei.stl"
--> 7: fit.die: There is no file "dei.stl". Did you mean die.stl?

[fit]
die = "printed/notes.txt"
--> 7: fit.die: notes.txt is no mesh file. Mesh files end in .stl, .ply, .obj, .off,
--> .3mf.

[fit]
die = "design.stl"
--> 7: fit.die: design.stl is the design, too. Name each file once.

[fit]
die = "milled/crown_2.stl"
--> 7: fit.die: crown_2.stl is a scan of group milled, too. Name each file once.

[fit]
die = "die.stl"
neighbours = ["tooth_*.stl", "die.stl"]
--> 8: fit.neighbours: die.stl is a die, too. Name each file once.

[fit]
die = "die.stl"
neighbours = ["tooth_*.stl", "tooth_35.stl"]
--> 8: fit.neighbours: tooth_35.stl is there twice. Name each file once.

[fit]
die = "die.stl"
neighbours = ["tooth_*.stl",
 "teeth_*.stl"]
--> 9: fit.neighbours: No tooth matches "teeth_*.stl". There are design.stl, die.stl,
--> seated.stl …; capitals count.

[fit]
die = "die.stl"
antagonist = "tooth_35.stl"
neighbours = "tooth_35.stl"
--> 8: fit.antagonist: tooth_35.stl is a neighbour, too. Name each file once.

[fit]
die = "die.stl"
crowns = ["crown_2",
 "crown_1O"]
--> 9: fit.crowns: There is no crown called "crown_1O". Did you mean crown_10?

[fit]
die = "die.stl"
crowns = ["crown_1"]
--> 8: fit.crowns: There is no crown called "crown_1". Did you mean
--> milled/crown_1 or printed/crown_1?

[fit]
die = "die.stl"
crowns = ["zebra"]
--> 8: fit.crowns: There is no crown called "zebra". Choose from milled/crown_1, crown_2,
--> crown_10, printed/crown_1, crown_3, crown_4.

[fit]
die = "die.stl"
measures = ["marginal_gap", "rms_um"]
--> 8: fit.measures: There is no fit measure called "marginal_gap". Did you mean
--> marginal_gap_um?

[fit]
die = "die.stl"
measures = []
--> 8: fit.measures: It is an empty list. Give a list of fit measures, out of
--> marginal_gap_um, marginal_gap_most_um, absolute_discrepancy_um, cement_space_um,
--> above_intended_um, least_wall_um, contact_gap_um.

[fit]
die = "die.stl"
dei = "die.stl"
--> 8: fit.dei: There is no such key. Did you mean die?

[fit]
die = "die.stl"
marginal_limit_um = 100
--> 8: fit.marginal_limit_um: There is no such key. It belongs below [fit_gap].

[fit_gab]
marginal_limit_um = 100
--> 6: fit_gab: There is no such table. Did you mean [fit_gap]?

[fit]
die = "die.stl"
[fit_gap]
marginal_limit_um = 0.12
--> 9: fit_gap.marginal_limit_um: 0.12 µm is hardly meant: 5 to 1000 µm is plausible. Did
--> you mean 120, which is 0.12 mm? force = true above the first table takes it as it is.

[fit]
die = "die.stl"
[fit_equivalence_um]
marginal_gap_um = 0.01
--> 9: fit_equivalence_um.marginal_gap_um: 0.01 µm is hardly meant: 0.1 to 2000 µm is
--> plausible. Did you mean 10, which is 0.01 mm? force = true above the first table
--> takes it as it is.

[fit]
die = "die.stl"
[fit_equivalence_um]
margin = 10
--> 9: fit_equivalence_um.margin: There is no fit measure called "margin". Choose from
--> marginal_gap_um, marginal_gap_most_um, absolute_discrepancy_um, cement_space_um,
--> above_intended_um, least_wall_um, contact_gap_um.

[analysis]
primary_measure = "marginal_gap_um"
--> 7: analysis.primary_measure: marginal_gap_um is a measure of fit, and no crown is
--> seated. Give die = "FILE" below [fit], or dies = ["FILES"] to every group.

[analysis]
primary_measure = "marginal_gap_most_um"
[fit]
die = "die.stl"
--> 7: analysis.primary_measure: It is not among the measures of [fit]. Give
--> "marginal_gap_most_um" among measures below [fit], or another primary_measure.

[analysis]
primary_measure = "above_intended_um"
[fit]
die = "die.stl"
--> 6: analysis.primary_area: above_intended_um is not taken of margin, the usual
--> area. Give "whole".

[analysis]
primary_measure = "least_wall_um"
primary_area = "margin"
[fit]
die = "die.stl"
--> 8: analysis.primary_area: least_wall_um is not taken of margin. Give "axial" or
--> "occlusal".

[analysis]
primary_measure = "above_intended_um"
primary_area = "whole"
[fit]
die = "die.stl"
in_design_frame = false
--> 7: analysis.primary_measure: The intended seat is known only of dies in the design's
--> frame. Give in_design_frame = true below [fit], or another primary_measure.

[analysis]
primary_measure = "contact_gap_um"
primary_area = "contact_distal"
[areas]
mesial_direction = [1, 0, 0]
[fit]
die = "die.stl"
in_design_frame = false
neighbours = "tooth_35.stl"
--> 7: analysis.primary_measure: Mesial and distal are known only of dies in the design's
--> frame. Give in_design_frame = true below [fit], or another primary_measure.

[analysis]
primary_measure = "contact_gap_um"
primary_area = "contact_occlusal"
[fit]
die = "die.stl"
--> 7: analysis.primary_measure: There is no tooth beside or against the crown. Give
--> neighbours or antagonist below [fit], or another primary_measure.

[analysis]
primary_measure = "contact_gap_um"
primary_area = "contact_mesial"
[fit]
die = "die.stl"
neighbours = "tooth_35.stl"
--> 8: analysis.primary_area: Contact areas are found only if the mesial direction is
--> known. Give mesial_direction below [areas].

[groups.more]
scans = "tooth_*.stl"
dies = ["dies/die_1.stl", "dies/die_2.stl", "dies/die_3.stl"]
[fit]
die = "die.stl"
--> 8: groups.more.dies: It lists 3 files for 2 scans. Give one for each scan, in the
--> same order.

[groups.more]
scans = "tooth_*.stl"
dies = "dies/*_1.stl"
[fit]
die = "die.stl"
--> 8: groups.more.dies: It lists one file for 2 scans. Give one for each scan, in the
--> same order.

[groups.more]
scans = "tooth_*.stl"
dies = "die/*.stl"
[fit]
die = "die.stl"
--> 8: groups.more.dies: No die matches "die/*.stl". There is no folder die either. Did
--> you mean dies?

[groups.more]
scans = "tooth_*.stl"
dies = "die.stl"
seated = "seated.stl"
[fit]
die = "die.stl"
--> 9: groups.more.seated: It lists one file for 2 scans. Give one for each scan, in the
--> same order.

[groups.more]
scans = "tooth_*.stl"
dies = "die.stl"
seated = ["seated.stl", "die.stl"]
--> 9: groups.more.seated: die.stl is a die, too. Name each file once.

[groups.more]
scans = "tooth_*.stl"
seated = ["seated.stl", "dies/die_1.stl"]
--> fit: There is no die for any crown. Give die = "FILE" below [fit], or dies =
--> ["FILES"] to every group.

[groups.more]
scans = "tooth_*.stl"
dies = "die.stl"
[fit]
crowns = ["crown_3", "tooth_37"]
--> 4: groups.printed: It has no dies, and there is no die of all crowns. Give die =
--> "FILE" below [fit], or dies = ["FILES"] to every group. Or list the crowns that are to
--> be seated below [fit].

[groups.more]
scans = "tooth_*.stl"
dies = "die.stl"
[fit]
crowns = ["tooth_35"]
finish_line = "line.csv"
--> 11: fit.finish_line: It is the finish line of the one die of all crowns, which no
--> crown sits on. Leave it out: the design's margin line is carried over to each die.
"""
"""Texts that follow a study of two groups, and the mistake that each is told with."""

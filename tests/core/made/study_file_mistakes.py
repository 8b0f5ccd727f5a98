"""Mistakes in study files, with what is said about each."""

from __future__ import annotations

from collections.abc import Iterator

CASES = r"""
[analysis]
alpha = 2
--> 7: analysis.alpha: 2 is not allowed. Give a number above 0 and below 1.

[analysis]
alpha = "0,05"
--> 7: analysis.alpha: It is "0,05", not a number. Leave the quotes out: 0.05.

[analysis]
seed = 1.5
--> 7: analysis.seed: 1.5 is not a whole number. Give a whole number from 0 to
--> 4294967295.

[analysis]
seed = true
--> 7: analysis.seed: It is true, not a number. Give a whole number from 0 to
--> 4294967295.

[analysis]
resamples = nan
--> 7: analysis.resamples: nan is not allowed. Give a whole number from 100 to 10000000.

[analysis]
lead = "Welch"
--> 7: analysis.lead: It is "Welch". Did you mean "welch"? Give "welch", "ranks" or "trimmed".

[analysis]
measures = ["rms"]
--> 7: analysis.measures: There is no measure called "rms". Did you mean rms_um?

[analysis]
measures = "rms_um"
--> 7: analysis.measures: It is "rms_um", not a list. Put it in brackets: ["rms_um"].

[analysis]
areas = ["margin",
 "occlusel"]
--> 8: analysis.areas: There is no area called "occlusel". Did you mean occlusal?

[analysis]
areas = ["occlusal"]
--> 6: analysis.primary_area: margin, which it is if left out, is not among areas. Give
--> occlusal, or add margin to areas.

[analysis]
primary_area = "contact_mesial"
--> 7: analysis.primary_area: Contact areas are found only if the mesial direction is
--> known. Give mesial_direction below [areas].

[tolerances_um]
margn = 15
--> 7: tolerances_um.margn: There is no area called "margn". Did you mean margin?

[tolerances_um]
margin = -1
--> 7: tolerances_um.margin: -1 is not allowed. Give a number above 0.

[tolerance]
margin = 1
--> 6: tolerance: There is no such table. Did you mean [tolerances_um]?

[measuring]
margin_band_mm = 1
--> 7: measuring.margin_band_mm: There is no such key. It belongs below [areas].

[measuring]
weighted = "yes"
--> 7: measuring.weighted: It is "yes". Give true or false, without quotes.

[areas]
insertion = [0, 0, 0]
--> 7: areas.insertion: It is the list [0, 0, 0], not a direction. Give three numbers
--> that are not all 0, such as [1.0, 0.0, 0.0].

[superimposition]
start = "landmarks"
--> 7: superimposition.start: Landmarks need a file. Give landmarks = "FILE.csv", or
--> start = "auto".

[examiners]
file = "milled"
--> 7: examiners.file: "milled" is a folder. Give the path of a file, from this file's
--> folder.

[examiners]
acceptable = 3
--> 7: examiners.acceptable: 3 is not a score of gap, which has 0 to 2. Give a score
--> that all of gap, contact and seating have.

[groups.more]
scans = "miled/*.stl"
--> 7: groups.more.scans: No scan matches "miled/*.stl". There is no folder miled
--> either. Did you mean milled?

[groups.more]
scans = "milled/*.STL"
--> 7: groups.more.scans: No scan matches "milled/*.STL". There are crown_1.stl,
--> crown_2.stl, crown_10.stl; capitals count.

[groups.more]
scans = "milled/crown_3.stl"
--> 7: groups.more.scans: No scan matches "milled/crown_3.stl". Did you mean
--> crown_2.stl?

[groups.more]
scans = ["milled/crown_1.stl"]
--> 7: groups.more.scans: crown_1.stl is in group milled too. Leave each scan in one
--> group.

[groups.more]
scans = ["milled/*.stl"]
--> 7: groups.more.scans: crown_1.stl and 2 more are in group milled too. Leave each
--> scan in one group.

[groups.more]
scans = ["*.stl"]
--> 7: groups.more.scans: design.stl is the design. Match the scans only, or list them.

[groups.more]
scans = []
--> 7: groups.more.scans: It is an empty list. Give a list of paths, in which * stands
--> for any part of a name: ["milled/*.stl"].

[groups.more]
--> 6: groups.more.scans: It is missing. Give a list of paths, in which * stands for any
--> part of a name: ["milled/*.stl"].

[groups.Milled]
--> 6: groups.Milled: It differs from group milled by capitals only. Give it another name.

[groups."a/b"]
--> 6: groups.a/b: "a/b" cannot be the name of a group. Give 1 to 40 letters, digits and
--> such, and other words as its title.

[groups.repeats]
--> 6: groups.repeats: Repeated scans are called that. Give the group another name.

[groups.milled]
--> 6: Cannot declare ('groups', 'milled') twice. A key or table is there twice: keep
--> one, or give one another name.

[analysis]
alpha = 0,05
--> 7: Expected newline or end of document after a statement. Write one key to a line;
--> numbers have a point, not a comma.

[repeats]
file = "C:\Users\x.csv"
--> 7: In double quotes \ has a meaning of its own. Write / instead: file = "C:/Users/x.csv"

[groups.more]
scans = "milled\*.stl"
--> 7: In double quotes \ has a meaning of its own. Write / instead: scans = "milled/*.stl"

[groups.more]
scans = ['milled\*.stl']
--> 7: groups.more.scans: No scan matches "milled\*.stl". Write / instead: "milled/*.stl".

[groups.more]
scans = ["milled\new.stl"]
--> 7: groups.more.scans: No scan matches "milled\new.stl". Write / instead:
--> "milled/new.stl". Check the name; paths start from this file's folder.

[examiners]
file = "printed\notes.txt"
--> 7: examiners.file: There is no file "printed\notes.txt". Write / instead:
--> "printed/notes.txt".
"""
"""Texts that follow a study of two groups, and the mistake that each is told with."""


def cases(texts: str = CASES) -> Iterator[tuple[str, str]]:
    for block in texts.strip().split("\n\n"):
        lines = block.splitlines()
        text = "".join(f"{line}\n" for line in lines if not line.startswith("--> "))
        yield text, " ".join(line[4:] for line in lines if line.startswith("--> "))

"""The methods text as an editor reads it: said once, in order, every reference in its place."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
from cuspwise.standalone_core.report.study.methods import methods_text
from cuspwise.standalone_core.report.study.references import REFERENCES
from cuspwise.standalone_core.report.study.sentences import limits_words
from cuspwise.standalone_core.study.analysis.results.analysis import StudyAnalysis
from cuspwise.standalone_core.study.measuring.results import StudyRun
from made.study_examples import make_analysis, make_run
from made.study_fits import fitted_study

Example = tuple[StudyRun, StudyAnalysis]
VERSIONS = {"cuspwise": "1.2.3", "numpy": "2.0", "scipy": "1.15", "python": "3.12"}


@pytest.fixture(scope="module")
def whole() -> Example:
    run = replace(make_run(), versions=VERSIONS)
    return run, make_analysis(run)


@pytest.fixture(scope="module")
def fitted() -> Example:
    return fitted_study()


@pytest.fixture(scope="module")
def bare() -> Example:
    run = make_run(("milled",), repeats=False, left_out=False)
    return run, make_analysis(run, scores=False)


@pytest.fixture(params=["whole", "fitted", "bare"])
def example(request: pytest.FixtureRequest) -> Example:
    found: Example = request.getfixturevalue(request.param)
    return found


def test_references_are_numbered_in_order_of_first_mention(example: Example) -> None:
    found = methods_text(*example)
    body = "\n".join(found.paragraphs)
    cited = [int(k) for part in re.findall(r"\[([\d, ]+)\]", body) for k in part.split(",")]
    assert list(dict.fromkeys(cited)) == list(range(1, len(found.references) + 1))
    assert len(set(found.references)) == len(found.references)
    assert set(found.references) <= set(REFERENCES.values())
    assert found.text.rstrip().endswith(f"{len(found.references)}. {found.references[-1]}")


def test_nothing_is_said_twice(example: Example) -> None:
    body = " ".join(methods_text(*example).paragraphs)
    sentences = [part for part in re.split(r"(?<=\.) (?=[A-Z])", body) if len(part) > 30]
    assert len(sentences) > 8
    assert len(set(sentences)) == len(sentences)
    for once in ("Wilson interval", "Holm's method [", "ISO 5725-1 [", "level of significance"):
        assert body.count(once) <= 1, once


def test_it_reads_as_sentences(example: Example) -> None:
    for paragraph in methods_text(*example).paragraphs:
        assert paragraph[0].isupper()
        assert paragraph.endswith(".")
        assert not re.search(r"\.\.|  | ,|\(\)|\bnan\b|\bNone\b|\w_um\b", paragraph), paragraph


def test_every_reference_is_whole() -> None:
    """Authors, title, source, year, volume and pages; standards by number, year and publisher."""
    journal = re.compile(r"^[\w’' ,\-]+\. .+\. [A-Z][\w ]+ \d{4};\d+:\d+(–\d+)?\.$")
    standard = re.compile(r"^ISO \d+-\d:\d{4}\. .+ Geneva: .+; \d{4}\.$")
    book = re.compile(r"^[\w’' ,\-]+\. .+\. \d+th ed\. [\w ]+: .+; \d{4}\.$")
    for key, text in REFERENCES.items():
        assert journal.match(text) or standard.match(text) or book.match(text), key


def test_the_number_of_crowns_has_its_reason_or_none_stated(whole: Example) -> None:
    run, analysis = whole
    assert "No rationale for the number of crowns was stated" in methods_text(run, analysis).text
    why = "eight crowns show 5 µm at an SD of 3 µm with a power of 90 %."
    told = replace(analysis, settings=replace(analysis.settings, sample_size_rationale=why))
    text = methods_text(run, told).text
    assert (
        f"Rationale for the number of crowns, as stated in the study file: {why} "
        in f"{text} ".replace("\n", " ")
    )
    assert "No rationale" not in text


def test_rules_and_statistics_are_told(whole: Example) -> None:
    text = methods_text(*whole).text
    for words in (
        "many-outlier procedure [",
        "up to a third of the group",
        "the random part is the root mean square of the standard deviation between crowns",
        "Their squares add to the mean square of all deviations of all crowns",
        "the distance of each crown from the middle of its group, the spatial median",
        "with Cuspwise 1.2.3, NumPy 2.0, SciPy 1.15 and Python 3.12.",
    ):
        assert words in text, words
    assert REFERENCES["anderson"] in text


def test_the_families_of_claims_have_a_paragraph_of_their_own(whole: Example) -> None:
    run, analysis = whole
    (paragraph,) = [p for p in methods_text(run, analysis).paragraphs if analysis.multiplicity in p]
    assert paragraph.startswith("The comparisons that may make a claim were planned")


def test_what_one_group_alone_cannot_have_is_not_told(bare: Example) -> None:
    text = methods_text(*bare).text
    for words in (
        "compared by",
        "P-values",
        "make a claim",
        "level of significance",
        "Precision was compared",
    ):
        assert words not in text


def test_limits_are_told_once() -> None:
    assert limits_words({"margin": 5.0}) == "±5 µm"
    assert limits_words({"a": 5.0, "b": 10.0, "c": 10.0}) == "±10 µm (a: ±5 µm)"

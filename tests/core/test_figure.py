"""Figures and verdicts refuse what would mislead."""

from __future__ import annotations

from itertools import product

import pytest

from saltfare.core.figure import Answer, Evidence, Figure, Provenance, Trace, Verdict, joint_answer


def verdict(answer: Answer, *evidence: Evidence) -> Verdict:
    return Verdict("criterion", "2023", answer, None, evidence)


@pytest.mark.parametrize("provenance", [Provenance.ESTIMATED, Provenance.UNKNOWN])
def test_estimated_or_unknown_input_never_meets(provenance: Provenance) -> None:
    with pytest.raises(ValueError, match="measured or logged"):
        verdict(Answer.MEETS, Evidence("aw", 0.80, provenance))


def test_missing_input_never_meets() -> None:
    with pytest.raises(ValueError, match="measured or logged"):
        verdict(Answer.MEETS, Evidence("aw", None, Provenance.MEASURED))
    with pytest.raises(ValueError, match="measured or logged"):
        verdict(Answer.MEETS)


def test_measured_input_may_meet() -> None:
    assert verdict(Answer.MEETS, Evidence("aw", 0.80, Provenance.MEASURED)).answer is Answer.MEETS


def test_joint_answers_keep_the_precedence() -> None:
    for several in product(Answer, repeat=3):
        joint = joint_answer(several)
        if Answer.DOES_NOT_MEET in several:
            assert joint is Answer.DOES_NOT_MEET
        elif Answer.CANNOT_TELL in several:
            assert joint is Answer.CANNOT_TELL
        else:
            assert joint is Answer.MEETS
    assert joint_answer([]) is Answer.CANNOT_TELL


def test_an_interval_is_whole_and_named() -> None:
    with pytest.raises(ValueError, match="two ends"):
        Figure(1.0, "mass", low=0.5, interval="band_80")
    with pytest.raises(ValueError, match="says what it is"):
        Figure(1.0, "mass", low=0.5, high=2.0)
    with pytest.raises(ValueError, match="low to high"):
        Figure(1.0, "mass", low=2.0, high=0.5, interval="band_80")


def test_figures_have_no_operators() -> None:
    with pytest.raises(TypeError):
        Figure(1.0, "mass") + Figure(1.0, "mass")  # type: ignore[operator]


def test_a_trace_is_named_by_what_it_holds() -> None:
    one = Trace("models.x", {"a": 1.0}, ("t:r",), ("key, table 1",))
    assert one.id == Trace("models.x", {"a": 1.0}, ("t:r",), ()).id
    assert one.id != Trace("models.x", {"a": 2.0}, ("t:r",), ()).id

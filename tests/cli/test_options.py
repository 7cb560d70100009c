"""The options that state the reference, and progress on stderr."""

import threading

import pytest

from pitchcam.cli._options import Progress, output_path, scale_spec
from pitchcam.errors import UsageError
from pitchcam.reference_kinds import REFERENCE_KINDS


def test_each_reference():
    assert scale_spec(pin=8.0).source == "pin"
    assert scale_spec(disc=23.25, reference_height=2.0).height_mm == 2.0
    assert (scale_spec(card=True).source, scale_spec(card=True).mm) == ("card", None)
    assert scale_spec(major=13.8).mm == 13.8
    assert scale_spec().source == "auto"
    assert scale_spec(sheet_bar=99.6).source == "sheet"
    both = scale_spec(pin=8.0, sheet_bar=99.6)
    assert (both.source, both.sheet_bar_mm) == ("pin", 99.6)


@pytest.mark.parametrize(
    "options", [{"pin": 8.0, "disc": 5.0}, {"card": True, "jaws": 20.0}, {"major": 9.0, "pin": 8.0}]
)
def test_two_references_contradict(options):
    with pytest.raises(UsageError, match="contradict"):
        scale_spec(**options)


def test_every_kind_has_its_option():
    for kind in REFERENCE_KINDS.values():
        spec = scale_spec(**{kind.key: 20.0 if kind.limits_mm or kind.name == "sheet" else True})
        assert spec.source == kind.name
        assert (spec.mm is not None) == (kind.limits_mm is not None)
    with pytest.raises(TypeError, match="ruler"):
        scale_spec(ruler=300.0)


def test_a_unit_mix_up_is_noticed():
    with pytest.raises(UsageError, match=r"write --major 0\.543in"):
        scale_spec(major=0.543)
    with pytest.raises(UsageError, match="check the unit"):
        scale_spec(pin=8000.0)


def test_output_names(tmp_path):
    assert output_path(None, "--report", (".html",)) is None
    assert output_path(str(tmp_path / "a.HTML"), "--report", (".html",)) == tmp_path / "a.HTML"
    for bad in (tmp_path / "a.txt", tmp_path / "none" / "a.html"):
        with pytest.raises(UsageError, match="--report"):
            output_path(str(bad), "--report", (".html",))
    (tmp_path / "d.html").mkdir()
    with pytest.raises(UsageError, match="folder"):
        output_path(str(tmp_path / "d.html"), "--report", (".html",))


def test_progress_is_silent_when_it_is_quick(capsys):
    with Progress(after_s=30.0) as progress:
        progress("finding the edges")
    assert capsys.readouterr().err == ""


def test_progress_tells_a_stage_that_hangs(capsys):
    with Progress(after_s=3600.0) as progress:
        progress("finding the edges")
        assert capsys.readouterr().err == ""
        # What the timer calls once a stage has taken too long.
        progress._timer.function()
        assert "finding the edges" in capsys.readouterr().err


def test_progress_tells_the_stages_that_follow(capsys):
    with Progress(after_s=0.0) as progress:
        progress("fitting the thread")
    assert "fitting the thread" in capsys.readouterr().err


def test_no_thread_is_left_when_measuring_begins() -> None:
    """Copies of the process, for parts side by side, are made of one thread only."""

    def timers() -> int:
        return sum(isinstance(t, threading.Timer) for t in threading.enumerate())

    before = timers()
    with Progress(after_s=30.0) as progress:
        progress("finding the parts")
        assert timers() == before + 1
        progress("measuring the threads")
        assert timers() == before

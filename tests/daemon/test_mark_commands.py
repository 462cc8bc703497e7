"""`flowlog stop` and `flowlog fill`."""

from __future__ import annotations

import pytest
from click.testing import CliRunner

from flowlog.cli import main
from flowlog.daemon.inbox import understand, waiting
from flowlog.store.recorder import Recorder


@pytest.fixture
def folder(tmp_path, rig, rig_file):
    """A rig that has logged before."""
    made = tmp_path / "data"
    Recorder.open(made, rig, rig_file.read_text()).close()
    return made


@pytest.fixture
def flowlog(folder):
    def run(*args: str):
        return CliRunner().invoke(main, [*args, "--data", str(folder)])

    return run


@pytest.mark.parametrize(
    ("args", "kind", "name", "said"),
    [
        (["Park, north lawn"], "begin", "Park, north lawn", "A stop begins here: Park, north lawn"),
        ([], "begin", None, "A stop begins here."),
        (["--end"], "end", None, "The stop ends here."),
        (["--rename", "Park"], "name", "Park", "The stop is: Park"),
    ],
)
def test_a_stop_is_marked(flowlog, folder, args, kind, name, said):
    done = flowlog("stop", *args)
    assert done.exit_code == 0, done.output
    assert said in done.output
    (mark,) = [understand(path) for path in waiting(folder)]
    assert (mark.what, mark.kind, mark.name) == ("stop", kind, name)


@pytest.mark.parametrize(
    ("args", "kind", "said"),
    [
        (["Park", "--area", "500 m2"], "begin", "A stop begins here: Park"),
        (["--area", "500 m2"], "begin", "A stop begins here, its area is noted."),
        (["--rename", "--area", "500 m2"], "name", "Its area is noted."),
        (["--end", "--area", "500 m2"], "end", "The stop ends here."),
    ],
)
def test_a_stops_known_area_goes_with_its_mark(flowlog, folder, args, kind, said):
    done = flowlog("stop", *args)
    assert done.exit_code == 0, done.output
    assert said in done.output
    (mark,) = [understand(path) for path in waiting(folder)]
    assert (mark.kind, mark.area_m2) == (kind, 500.0)


@pytest.mark.parametrize("area", ["500", "500 psi", "-1 m2", "0 m2", "1e12 m2", ""])
def test_what_is_no_area_is_refused_and_leaves_no_mark(flowlog, folder, area):
    assert flowlog("stop", "Park", "--area", area).exit_code == 2
    assert waiting(folder) == []


def test_without_a_daemon_the_mark_waits_and_the_command_says_so(flowlog):
    assert "takes the mark when it starts next" in flowlog("stop", "Park").output


def test_while_a_daemon_runs_nothing_more_is_said(flowlog, folder, rig, rig_file):
    recorder = Recorder.open(folder, rig, rig_file.read_text())
    try:
        assert flowlog("stop", "Park").output == "A stop begins here: Park\n"
    finally:
        recorder.close()


@pytest.mark.parametrize("args", [["--end", "Park"], ["--rename"], [" "], ["x" * 200]])
def test_what_makes_no_sense_is_refused_and_leaves_no_mark(flowlog, folder, args):
    assert flowlog("stop", *args).exit_code == 2
    assert waiting(folder) == []


def test_a_fill_is_noted_with_its_volume(flowlog, folder):
    done = flowlog("fill", "60 gal")
    assert done.exit_code == 0
    (mark,) = [understand(path) for path in waiting(folder)]
    # US gallon of 231 cubic inches (NIST SP 811, appendix B).
    assert mark.volume_m3 == pytest.approx(60 * 231 * 0.0254**3)


def test_a_fill_without_volume_means_the_whole_tank(flowlog, folder):
    assert flowlog("fill").exit_code == 0
    (mark,) = [understand(path) for path in waiting(folder)]
    assert mark.volume_m3 is None


@pytest.mark.parametrize("volume", ["60 psi", "many", "60", "-5 gal", "1e9 gal"])
def test_a_volume_that_is_none_is_refused_in_one_line(flowlog, folder, volume):
    done = CliRunner().invoke(main, ["fill", "--data", str(folder), "--", volume])
    assert done.exit_code == 2
    assert done.output.count("\n") == 1
    assert waiting(folder) == []


def test_a_folder_without_a_rig_is_said(tmp_path):
    done = CliRunner().invoke(main, ["stop", "Park", "--data", str(tmp_path / "none")])
    assert done.exit_code == 2
    assert "no rig has logged here" in done.output

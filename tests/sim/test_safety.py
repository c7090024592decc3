"""The cautions: one text, in the README, in all that sends people outdoors, and never to be turned off."""

import re
from pathlib import Path

import pytest
import typer.main
from whichsun.sim import safety
from whichsun.sim.cli import main

ROOT = Path(__file__).parents[2]

#: Commands after which someone goes out to photograph the Sun, and those that work on what is there already.
OUTDOORS = {"demo", "plan", "power", "report"}
INDOORS = {"models", "predict", "sweep", "day", "render", "scene", "measure", "score", "pool"}
_KNOWN = {command.name: command for command in main.app.registered_commands}


def words(text):
    return " ".join(text.replace("*", "").replace("\n>", "\n").split())


def test_the_readme_shows_them_first_and_in_full():
    readme = (ROOT / "README.md").read_text()
    numbered = " ".join(f"{n}. {text}" for n, text in enumerate(safety.CAUTIONS, 1))
    assert f"{safety.HEADING} {numbered}" in words(readme)
    assert readme.index(safety.HEADING) < readme.index("\n## ")


@pytest.mark.parametrize(
    "said",
    [
        # the points that have to be made, by the words that make them
        "over the whole front of the lens",
        "Never look through an optical viewfinder, with or without the filter",
        "mirrorless",
        "A low red Sun is not a safe Sun",
        "infrared",
        "ISO 12312-2",
        "the standard does not cover filters for cameras, binoculars or telescopes",
        "heat inside the camera",
        "leave no camera unattended",
        "do not look at the Sun",
        "Supervise children",
        "Local rules, the filter's maker and an eye professional come first",
        "stop and see an eye professional",
    ],
)
def test_every_point_is_made(said):
    assert said in " ".join(safety.CAUTIONS)


def test_lines_are_numbered_under_their_heading():
    heading, *lines = safety.caution_lines()
    assert heading == safety.HEADING
    assert [line.split(".")[0].strip() for line in lines] == [str(n + 1) for n in range(len(lines))]
    assert [line.split(". ", 1)[1] for line in lines] == list(safety.CAUTIONS)


def test_the_text_stands_in_one_file_only():
    key = re.compile("burning glass|come first, before anything written")
    found = [path.name for path in (ROOT / "sim").rglob("*.py") if key.search(path.read_text())]
    assert found == ["safety.py"]


def test_every_command_is_told_apart():
    # A new command has to be put on one side or the other by whoever writes it.
    assert set(_KNOWN) == OUTDOORS | INDOORS
    assert not OUTDOORS & INDOORS


@pytest.mark.parametrize("name", sorted(_KNOWN))
def test_no_option_hides_them(name):
    command = typer.main.get_command(main.app).commands[name]
    options = [text for option in command.params for text in (*option.opts, *option.secondary_opts)]
    assert not [text for text in options if re.search("caution|safe|quiet|silent|warn", text)]


@pytest.mark.parametrize("name", sorted(OUTDOORS - {"report"}))  # report's page shows them: tests/sim/report
def test_commands_that_send_people_outdoors_use_the_text(name):
    module = (ROOT / "sim" / "cli" / f"{name}.py").read_text()
    assert "caution_lines" in module or "cautions" in module


def test_the_demo_prints_them_in_full(capsys):
    from whichsun.sim.cli import demo

    demo._show({"pairs": [], "folder": "x", "cautions": list(safety.CAUTIONS)})
    said = " ".join(capsys.readouterr().out.split())
    for number, caution in enumerate(safety.CAUTIONS, 1):
        assert f"{number}. {caution}" in said

"""What the README promises: the cautions in full, commands that exist, pictures that are there."""

import re
from pathlib import Path

from whichsun.sim.safety import CAUTIONS

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text()


def plain(text):
    return " ".join(text.replace("*", "").replace(">", " ").split())


def test_all_cautions_are_shown():
    for caution in CAUTIONS:
        assert plain(caution) in plain(README)


def test_pictures_exist_and_have_words():
    pictures = re.findall(r"!\[(.*?)\]\((.*?)\)", README)
    assert len(pictures) >= 5
    for words, path in pictures:
        assert len(words) > 10
        assert (ROOT / path).is_file(), path


def test_every_command_is_known():
    from whichsun.sim.cli import main

    known = {command.name for command in main.app.registered_commands}
    named = re.findall(r"(?:^|/|`)whichsun ([a-z]+)", README, re.MULTILINE)
    assert len(named) >= 7
    assert set(named) <= known


def test_links_lead_somewhere():
    for path in re.findall(r"\]\((?!http)([^)#]+)\)", README):
        assert (ROOT / path).exists(), path

"""The command line as a whole: help, version, and how trouble is told."""

import subprocess
import sys
import time

import pytest
from whichsun.sim.cli.main import app, main


def test_help_lists_every_command_with_its_whole_sentence(capsys):
    assert main(["--help"]) == 0
    words = " ".join(capsys.readouterr().out.split())
    for command in app.registered_commands:
        sentence = " ".join((command.callback.__doc__ or "").split())
        assert sentence.endswith(".")
        assert sentence in words


def test_no_arguments_show_the_help(capsys):
    assert main([]) == 2
    assert "Commands:" in capsys.readouterr().out


@pytest.mark.parametrize("arguments", [["nonsense"], ["sweep", "--date"], ["predict", "--nonsense"]])
def test_wrong_usage_is_one_line(arguments, capsys):
    assert main(arguments) == 2
    captured = capsys.readouterr()
    assert captured.out == ""
    assert captured.err.startswith("whichsun: error: ")
    assert captured.err.count("\n") == 1


def test_version(capsys):
    assert main(["--version"]) == 0
    assert capsys.readouterr().out.startswith("whichsun 0.")


def test_help_loads_nothing_heavy():
    # Asked for: an answer in under 0.3 s. Time is not asserted on a noisy machine; what would cost it is.
    code = (
        "import sys; from whichsun.sim.cli.main import main; main(['--help']);"
        "heavy = {'numpy', 'scipy', 'astropy', 'matplotlib', 'PIL', 'pyproj'} & set(sys.modules);"
        "sys.exit(', '.join(sorted(heavy)) or 0)"
    )
    start = time.perf_counter()
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    print(f"--help took {time.perf_counter() - start:.2f} s")
    assert done.returncode == 0, done.stderr

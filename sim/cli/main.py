"""The console script: collects the commands and turns our errors into one line and exit code 2."""

from __future__ import annotations

import sys

import typer

from ...models.errors import WhichsunError
from . import day, demo, measure, models, plan, pool, power, predict, render, report, scene, score, sweep

app = typer.Typer(
    name="whichsun",
    help="Measure how far the Sun's spots turned between two photos, and score each geometry against it.",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)
for command in (demo, models, plan, predict, sweep, day, power, render, scene, measure, score, pool, report):
    sentence = " ".join((command.run.__doc__ or "").split())
    app.command(command.NAME, short_help=sentence)(command.run)  # given in full, so that it is not cut

# Typer carries its own copy of click: the base of its usage errors is found through one of them.
_ClickException: type[Exception] = next(
    c for c in typer.BadParameter.__mro__ if c.__name__ == "ClickException"
)


def _version(value: bool) -> None:
    if value:
        from importlib.metadata import version

        print(f"whichsun {version('whichsun')}")
        raise typer.Exit


@app.callback()
def _root(
    version: bool = typer.Option(
        False, "--version", callback=_version, is_eager=True, help="Show the version."
    ),
) -> None:
    """Measure how far the Sun's spots turned between two photos, and score each geometry against it."""


def main(arguments: list[str] | None = None) -> int:
    """Run the command line; returns the exit code."""
    try:
        code = app(args=arguments, standalone_mode=False, prog_name="whichsun")
        return code if isinstance(code, int) else 0
    except WhichsunError as error:
        return _fail(str(error))
    except _ClickException as error:
        if type(error).__name__ == "NoArgsIsHelpError":
            print(error.format_message())  # type: ignore[attr-defined]
            return 2
        return _fail(error.format_message())  # type: ignore[attr-defined]
    except typer.Abort:
        return _fail("stopped", 130)
    except KeyboardInterrupt:
        return _fail("stopped", 130)
    except BrokenPipeError:
        sys.stderr.close()
        return 1
    except OSError as error:  # no permission, disk full, a folder where a file should be
        return _fail(f"{error.filename or 'file'}: {error.strerror or error}")


def _fail(message: str, code: int = 2) -> int:
    print("whichsun: error: " + " ".join(message.split()), file=sys.stderr)
    return code

"""``trainer settings``: show, change and edit the settings file."""

from __future__ import annotations

import os
import subprocess
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from trainer.cli.exit_codes import ExitCode
from trainer.cli.options import Format, FormatOption, write_json

if TYPE_CHECKING:
    from trainer.settings import ResolvedSettings

app = typer.Typer(
    help="Your settings: show, change or edit them.\n\n"
    "Precedence: options of a command, environment variables, the settings file, defaults."
)
KeyArgument = Annotated[str, typer.Argument(help="Table and setting, such as sound.device.")]


@app.callback(invoke_without_command=True)
def settings(context: typer.Context) -> None:
    """Create the settings file if it is missing, and show the settings."""
    if context.invoked_subcommand is not None:
        return
    from trainer.settings import create_settings_file, settings_path

    if create_settings_file(settings_path()):
        typer.echo(f"Wrote {settings_path()}; 'trainer settings edit' opens it.")
    show()


@app.command()
def show(format_: FormatOption = Format.TEXT) -> None:
    """Show all settings, and where each comes from if it is not the default.

    Example: trainer settings show --format json
    """
    from trainer.settings import resolve_settings

    resolved = resolve_settings()
    if format_ is Format.JSON:
        from trainer.settings import settings_data

        write_json(settings_data(resolved))
    else:
        typer.echo("\n".join(_lines(resolved)))
    _print_problems(resolved)


@app.command("path")
def print_path() -> None:
    """Print the path of the settings file, which may not exist yet.

    Example: trainer settings path
    """
    from trainer.settings import settings_path

    typer.echo(settings_path())


@app.command("set", context_settings={"ignore_unknown_options": True})
def set_one(
    key: KeyArgument,
    value: Annotated[str, typer.Argument(help="New value, without TOML quotes.")],
) -> None:
    """Change one setting in the file; its comments and layout are kept.

    Example: trainer settings set sound.device "USB mic"
    """
    from trainer.settings import (
        parse_setting_key,
        resolve_settings,
        set_setting,
        settings_path,
        toml_value_text,
    )

    path, name = settings_path(), parse_setting_key(key)
    new = set_setting(path, name, value)
    typer.echo(f"{'.'.join(name)} = {toml_value_text(new)}, in {path}")
    origin = resolve_settings(path).origins.get(name, "file")
    if origin != "file":
        typer.echo(f"Note: {origin} is set and takes precedence.")


@app.command()
def unset(key: KeyArgument) -> None:
    """Remove one setting from the file, so that its default applies.

    Example: trainer settings unset sound.device
    """
    from trainer.settings import parse_setting_key, settings_path, unset_setting

    path, name = settings_path(), parse_setting_key(key)
    was_set = unset_setting(path, name)
    typer.echo(f"{'.'.join(name)} is {'no longer' if was_set else 'not'} set in {path}")


@app.command()
def edit() -> None:
    """Open the settings file in your editor (VISUAL or EDITOR); create it if it is missing.

    Example: trainer settings edit
    """
    from trainer.settings import create_settings_file, resolve_settings, settings_path

    path = settings_path()
    create_settings_file(path)
    _open_in_editor(path)
    resolved = resolve_settings(path)
    _print_problems(resolved)
    if resolved.problems:
        raise typer.Exit(ExitCode.BAD_INPUT)


def _open_in_editor(path: Path) -> None:
    """Open a file in the player's editor and wait until it is closed.

    Raises:
        SettingsError: no editor is found, or it fails.
    """
    from trainer.core.system import editor_command, installed_editor
    from trainer.settings import SettingsError

    editor = os.environ.get("VISUAL") or os.environ.get("EDITOR") or installed_editor()
    if editor is None:
        raise SettingsError(f"no editor found; set EDITOR to yours, or open {path} by hand")
    try:
        subprocess.run(editor_command(editor, path), check=True)
    except (OSError, ValueError, subprocess.CalledProcessError) as error:
        ended = getattr(error, "returncode", None)
        reason = f"it ended with {ended}" if ended else getattr(error, "strerror", None) or error
        raise SettingsError(
            f"the editor '{editor}' could not edit {path}: {reason}; set EDITOR to another"
        ) from None


def _values(resolved: ResolvedSettings) -> dict[tuple[str, str], Any]:
    from trainer.settings import SETTING_KEYS

    return {
        (table, name): getattr(getattr(resolved.settings, table), name)
        for table, name in SETTING_KEYS
    }


def _lines(resolved: ResolvedSettings) -> list[str]:
    from trainer.settings import toml_value_text

    note = "" if resolved.file.exists() else " (missing; 'trainer settings' creates it)"
    lines = [f"{resolved.file}{note}"]
    for key, value in _values(resolved).items():
        text = "not set" if value is None else toml_value_text(value)
        lines.append(f"  {'.'.join(key):20}  {text:20}  {resolved.origins.get(key, '')}".rstrip())
    return lines


def _print_problems(resolved: ResolvedSettings) -> None:
    for problem in resolved.problems:
        typer.echo(problem, err=True)

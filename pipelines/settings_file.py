"""The file settings.toml of a home: how it is read, and how what is wrong in it is told."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

from pipelines.errors import GoodpullError

FILE_NAME = "settings.toml"


class SettingsError(GoodpullError):
    """A setting is not one of ours, or its value is not allowed."""


def read(home: Path) -> dict[str, Any]:
    """What the file of a home says, unchecked; empty where there is no file. Raises SettingsError where it is no TOML."""
    path = Path(home) / FILE_NAME
    try:
        return tomllib.loads(path.read_text("utf-8-sig"))
    except FileNotFoundError:
        return {}
    except (OSError, UnicodeDecodeError) as error:
        raise SettingsError(f"{path}: cannot be read ({error}). Save it as UTF-8 text that you may read.") from error
    except tomllib.TOMLDecodeError as error:
        raise SettingsError(
            f'{path}: is not valid TOML ({error}). Write one setting a line, such as: time_zone = "Europe/Berlin"'
        ) from error


def not_allowed(name: str, value: object, allowed: str) -> str:
    """What is wrong with a setting: what it is, and what it must be."""
    return f"{name} is {value!r}; must be {allowed}."

"""The line that says where a database is: it may stand in a file that people pass on, so that no secret may stand in it."""

from __future__ import annotations

import re
from typing import Any
from urllib.parse import unquote

from pipelines.mapping.declared import MappingError

# Words that a secret is told by, and a user with a password before the host.
_SECRET = re.compile(r"password|passwd|\bpwd\b|://[^/@\s]*:[^@?\s]*@", re.IGNORECASE)
# Settings of libpq that are secrets or files of them: password, passfile, sslpassword, and those of newer versions.
_SECRET_SETTING = re.compile(r"pass|secret|scram_\w+_key", re.IGNORECASE)


def connection_of(given: Any) -> str:
    """A connection line without a password. Raises MappingError, which does not repeat the line."""
    line = str(given)
    # Looked at as written first: a line that libpq cannot read may hold a secret all the same.
    if _SECRET.search(line) or _SECRET.search(unquote(line)) or _has_secret(_settings_of(line)):
        raise MappingError(
            "database.connection holds a password, or names a file of passwords. Take it out of the mapping: give it as "
            "PGPASSWORD in the environment, or in libpq's own password file (~/.pgpass, or the one PGPASSFILE names)."
        )
    return line


def _has_secret(settings: dict[str, str]) -> bool:
    return any(_SECRET_SETTING.search(key) or _SECRET.search(value) for key, value in settings.items())


def _settings_of(line: str) -> dict[str, str]:
    """Every setting that libpq reads in the line, decoded as libpq decodes it."""
    from psycopg import Error
    from psycopg.conninfo import conninfo_to_dict

    try:
        return {key: str(value) for key, value in conninfo_to_dict(line).items()}
    except (Error, UnicodeError):
        # Neither the line nor libpq's words: they repeat the part that cannot be read, which may be a password.
        raise MappingError(
            "database.connection is no connection line that libpq can read. Write: service=..., or host=... dbname=... "
            "user=..., or postgresql://user@host/database; a value with blanks in single quotes."
        ) from None

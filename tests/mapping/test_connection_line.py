"""No secret stands in a connection line, however libpq would find it there; what is refused is not repeated."""

from __future__ import annotations

import traceback

import pytest

from pipelines.mapping.connection_line import connection_of
from pipelines.mapping.declared import MappingError


@pytest.mark.parametrize(
    "line",
    [
        "host=db password=hush",
        "host=db PassWord = hush",
        "host=db passwd=hush",
        "postgresql://me:hush@db/fleet",
        "postgresql://me:h%75sh@db/fleet",
        "postgresql://u@h/db?password=hush",
        "postgresql://u@h/db?%70assword=hush",
        "postgresql://u@h/db?%70%61%73%73%77%6F%72%64=hush",
        "postgresql://u@h/db?%73slpassword=hush",
        "postgres://u%3Ahush@h/db?p%61ssword=hush",
        "host=db sslpassword=hush sslkey=client.key",
        "host=db passfile=hush",
        "postgresql://u@h/db?passf%69le=hush",
        r"host=db dbname='user=me pass\word=hush'",
        "host=db dbname='postgresql://me:hush@db/fleet'",
    ],
)
def test_a_secret_is_refused_and_not_repeated(line):
    with pytest.raises(MappingError, match="holds a password, or names a file of passwords.*PGPASSWORD") as refused:
        connection_of(line)
    assert "hush" not in "".join(traceback.format_exception(refused.value))


@pytest.mark.parametrize(
    "line", ["host=db hush", "host=db hush=hush", "postgresql://u@h:hush/db?a%zz=hush", "host='hush"]
)
def test_a_line_libpq_cannot_read_is_refused_and_not_repeated(line):
    with pytest.raises(MappingError, match="no connection line that libpq can read. Write: service=") as refused:
        connection_of(line)
    assert "hush" not in "".join(traceback.format_exception(refused.value))


@pytest.mark.parametrize(
    "line",
    [
        "service=records",
        "host=db dbname=service user=reader",
        "host='db one' port=5433 sslmode=verify-full sslrootcert=system",
        "postgresql://reader@db:5433/service?sslmode=require",
        "postgresql:///service?host=/var/run/postgresql",
    ],
)
def test_a_line_without_a_secret_stays_as_it_is(line):
    assert connection_of(line) == line

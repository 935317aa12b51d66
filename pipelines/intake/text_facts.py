"""What the text of a file is made of, found in one pass over its bytes."""

from __future__ import annotations

import codecs
import hashlib
from dataclasses import dataclass
from pathlib import Path

import numpy as np

CHUNK = 1 << 22
# White space other than the space, in UTF-8, and the byte order mark within text.
_RARE_SPACES = (b"\xc2\xa0", b"\xe2\x80\x87", b"\xe2\x80\xaf", b"\xef\xbb\xbf")


@dataclass(frozen=True)
class TextFacts:
    """Facts of a file. encoding: a Python codec name; None when the bytes are not text.

    n_lines: lines, the last one with or without a line end. is_old: a carriage return alone ends its lines. is_plain: UTF-8 without control characters, tabs and white space other than spaces.
    """

    digest: str
    encoding: str | None
    n_quotes: int
    n_lines: int
    is_plain: bool
    is_old: bool = False


def text_facts(path: Path) -> TextFacts:
    """Digest, encoding, quotation marks, line ends and rare characters of a file."""
    digest = hashlib.sha256()
    last = b""
    n_quotes = n_newlines = n_returns = n_controls = n_rare = 0
    decoder: codecs.IncrementalDecoder | None = codecs.getincrementaldecoder("utf-8")()
    with path.open("rb") as file:
        head = file.peek(4)[:4]
        while chunk := file.read(CHUNK):
            digest.update(chunk)
            last = chunk[-1:]
            newlines, returns = chunk.count(b"\n"), chunk.count(b"\r")
            n_quotes += chunk.count(b'"')
            n_newlines += newlines
            n_returns += returns
            # Bytes below the space other than line ends.
            n_controls += int(np.count_nonzero(np.frombuffer(chunk, np.uint8) < 32)) - newlines - returns
            n_controls += chunk.count(b"\x7f")
            if not chunk.isascii():
                n_rare += sum(chunk.count(space) for space in _RARE_SPACES)
            if decoder is not None and not (chunk.isascii() and not decoder.getstate()[0]):
                try:
                    decoder.decode(chunk)
                except UnicodeDecodeError:
                    decoder = None
    is_utf8 = decoder is not None and not decoder.getstate()[0]
    encoding = _encoding(path, head, is_utf8, n_controls)
    has_mark = head.startswith(codecs.BOM_UTF8)
    is_plain = encoding == "utf-8" and n_controls == 0 and n_rare == int(has_mark)
    n_lines = max(n_newlines, n_returns) + (last not in (b"\n", b"\r"))
    is_old = n_newlines == 0 and n_returns > 0
    return TextFacts(digest.hexdigest(), encoding, n_quotes, n_lines, is_plain, is_old)


def content_digest(path: Path) -> str:
    """The digest of a file's bytes, as in TextFacts."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def to_utf8(path: Path, encoding: str, target: Path) -> int:
    """Write the text again as UTF-8 with one kind of line end, in pieces. Returns the number of lines."""
    n_ends, piece = 0, ""
    with path.open(encoding=encoding) as source, target.open("w", encoding="utf-8", newline="\n") as out:
        while more := source.read(CHUNK):
            piece = more
            n_ends += piece.count("\n")
            out.write(piece)
    return n_ends + (not piece.endswith("\n"))


def blank_lines(path: Path) -> int:
    """How many lines of a text file hold nothing."""
    n_blank, before = 0, b"-\n"
    with path.open("rb") as file:
        while chunk := file.read(CHUNK):
            text = np.frombuffer(before + chunk, np.uint8)
            ends = np.flatnonzero(text[2:] == 10) + 2
            is_after_return = (text[ends - 1] == 13) & (text[ends - 2] == 10)
            n_blank += int(np.count_nonzero((text[ends - 1] == 10) | is_after_return))
            before = text[-2:].tobytes()
    return n_blank


def _encoding(path: Path, head: bytes, is_utf8: bool, n_controls: int) -> str | None:
    if head.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return "utf-16"
    with path.open("rb") as file:
        sample = file.read(1 << 16)
    if n_controls:
        # Text in two bytes a character has a zero byte beside every common letter.
        if sample[1::2].count(0) > len(sample) // 8:
            return "utf-16-le"
        if sample[::2].count(0) > len(sample) // 8:
            return "utf-16-be"
    if is_utf8:
        return "utf-8"
    return "cp1252" if _can_read(path, "cp1252") else _guessed(path, sample)


def _can_read(path: Path, encoding: str) -> bool:
    try:
        with path.open(encoding=encoding, newline="") as file:
            while file.read(CHUNK):
                pass
    except (UnicodeDecodeError, LookupError):
        return False
    return True


def _guessed(path: Path, sample: bytes) -> str | None:
    """The last resort: what the letters of a sample look like."""
    import charset_normalizer

    best = charset_normalizer.from_bytes(sample).best()
    return best.encoding if best is not None and _can_read(path, best.encoding) else None

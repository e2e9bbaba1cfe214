"""A document of either standard, from the disk or as bytes, made into a profile."""

from __future__ import annotations

import os
import stat
from pathlib import Path
from typing import Final

from fermd.exchange.beerjson_in import from_beerjson
from fermd.exchange.beerxml_in import from_beerxml
from fermd.exchange.carried import LARGEST_FILE_BYTES, Carried, whole

_XML_BEGINS: Final = (b"<", b"\xff\xfe<", b"\xfe\xff\x00<", b"\xef\xbb\xbf<", b"<\x00", b"\x00<")
"""First bytes of XML in the encodings that it may come in, spaces before it left out."""


def load_document(path: Path, name: str | None = None) -> Carried:
    """Read a file of BeerJSON or BeerXML; see `read_document`.

    Raises:
        ConfigError: the file cannot be read, or what is in it cannot be used.

    """
    return read_document(_bytes_of(path), path, name)


def read_document(data: bytes, file: Path | str, name: str | None = None) -> Carried:
    """The fermentation called `name` in a document; `file` is what messages call it.

    Which of the two standards it is, the first character tells, not the file's name.

    Raises:
        ConfigError: what is in it cannot be used.

    """
    if not data.strip():
        raise whole(file, "is empty")
    if data.lstrip().startswith(_XML_BEGINS):
        return from_beerxml(data, file, name)
    if data.lstrip(b"\xef\xbb\xbf \t\r\n").startswith((b"{", b"[", b"\xff\xfe", b"\xfe\xff")):
        return from_beerjson(data, file, name)
    raise whole(file, "is neither BeerJSON, which begins with {, nor BeerXML, which begins with <")


def _bytes_of(path: Path) -> bytes:
    try:
        kind = path.stat()
        if stat.S_ISDIR(kind.st_mode):
            raise whole(path, "is a folder; name the file in it", os.EX_NOINPUT)
        if not stat.S_ISREG(kind.st_mode):
            raise whole(path, "is not an ordinary file; copy it into one", os.EX_NOINPUT)
        with path.open("rb") as opened:
            # One byte more than is read, so that a file that is too large is told from one that
            # just fits, whatever its size was said to be.
            return opened.read(LARGEST_FILE_BYTES + 1)
    except FileNotFoundError:
        raise whole(path, "does not exist; check the name and the folder", os.EX_NOINPUT) from None
    except PermissionError:
        why = "may not be read by this user; check its owner and mode with `ls -l`"
        raise whole(path, why, os.EX_NOPERM) from None
    except OSError as error:
        raise whole(path, f"cannot be read: {error.strerror or error}", os.EX_NOINPUT) from None
    except ValueError:  # A name with a NUL in it.
        raise whole(path, "is not a possible file name", os.EX_NOINPUT) from None

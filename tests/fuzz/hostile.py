"""What a text may be spoilt with, whatever its grammar."""

from __future__ import annotations

from typing import Final

from hypothesis import strategies as st

STRANGE_TEXTS: Final = (
    *("", " ", "\x00", "\x1b[31m", "\r", "\n", "\u202e", "\ufeff", "\ufffd", "Ü", "ß", "İ", "٣"),
    *("é" * 3, "𝟙", "½", "\u2028", "' OR 1", "../../etc/passwd", "%00", "%s%n", "{}", "$HOME"),
    *("x" * 300, "-", "--", "~", "NaN", "null", "None", "true", "0x10", "1e999", "١٢"),
)

STRANGE_NUMBERS: Final = (
    *("0", "-0", "-0.0", "1", "-1", "0.1", "1e-320", "1e308", "-1e308", "1e309", "nan", "inf"),
    *("-inf", "+nan", "9007199254740993", "18446744073709551616", "9" * 400, "-" + "9" * 400),
    *(
        "0x7fffffff",
        "0o17",
        "0b1",
        "1_000",
        "273.15",
        "-273.16",
        "45",
        "45.0001",
        "1e5",
        "00",
        ".5",
    ),
)

strange_texts = st.one_of(
    st.sampled_from(STRANGE_TEXTS), st.text(max_size=6), st.text(min_size=40, max_size=80)
)
strange_numbers = st.sampled_from(STRANGE_NUMBERS)


def misspelt(word: str, draw: st.DrawFn) -> str:
    """A word with one or two letters wrong, as a person types it."""
    letters = list(word)
    for _ in range(draw(st.integers(1, 2))):
        at = draw(st.integers(0, max(0, len(letters) - 1)))
        match draw(st.sampled_from(["drop", "twice", "swap", "other", "case", "dash"])):
            case "drop" if letters:
                del letters[at]
            case "twice" if letters:
                letters.insert(at, letters[at])
            case "swap" if at + 1 < len(letters):
                letters[at], letters[at + 1] = letters[at + 1], letters[at]
            case "case" if letters:
                letters[at] = letters[at].swapcase()
            case "dash" if letters:
                letters[at] = "-" if letters[at] == "_" else "_"
            case _:
                letters.insert(at, draw(st.sampled_from("aeinst_s1Cc")))
    return "".join(letters)


@st.composite
def spoilt_bytes(draw: st.DrawFn, good: bytes) -> bytes:  # noqa: C901 - a list of accidents
    """The bytes of a file after an accident: on the card, in an editor, on the way."""
    data = bytearray(good)
    for _ in range(draw(st.integers(1, 3))):
        at = draw(st.integers(0, max(0, len(data) - 1)))
        size = draw(st.integers(1, 40))
        match draw(st.sampled_from(ACCIDENTS)):
            case "flip" if data:
                data[at] ^= 1 << draw(st.integers(0, 7))
            case "cut":
                del data[at:]
            case "hole":
                del data[at : at + size]
            case "twice":
                data[at:at] = data[at : at + size]
            case "zeros":
                data[at : at + size] = bytes(size)
            case "put in":
                data[at:at] = draw(st.binary(min_size=1, max_size=4))
            case "byte order mark":
                data[:0] = b"\xef\xbb\xbf"
            case "carriage returns":
                data = bytearray(data.replace(b"\n", b"\r\n"))
            case "old Macintosh":
                data = bytearray(data.replace(b"\n", b"\r"))
            case "utf-16":
                data = bytearray(data.decode("utf-8", "replace").encode("utf-16"))
            case "latin-1":
                text = data.decode("utf-8", "replace")
                data = bytearray(text.encode("latin-1", "replace") + b"# \xf6\n")
            case "long line":
                data[at:at] = b"x" * 10 ** draw(st.sampled_from([3, 3, 3, 4, 4, 6]))
            case _:
                depth = draw(st.sampled_from([10, 21, 100, 2000]))
                data[at:at] = draw(st.sampled_from([b"[", b"{a=", b'{"a":', b"<a>", b"("])) * depth
    return bytes(data)


ACCIDENTS: Final = (
    *("flip", "flip", "flip", "cut", "hole", "twice", "zeros", "put in", "byte order mark"),
    *("carriage returns", "old Macintosh", "utf-16", "latin-1", "long line", "deep"),
)

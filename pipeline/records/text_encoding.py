"""How the letters of a text file were written down, found without losing one.

In this order: the mark at the start, the zero bytes of UTF-16, strict UTF-8, plain
western European text, and only then a guess by chardet. Decoding is always strict:
a file whose letters cannot all be read is refused, never filled with question marks.
"""

from __future__ import annotations

import codecs
import re
from dataclasses import dataclass
from itertools import islice

from pipeline.errors import UnreadableFile

MARKS = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF32_LE, "utf-32"),  # before UTF-16, whose mark it begins with
    (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
CANDIDATES = (
    "cp1252", "mac_roman", "cp1250", "cp1251", "cp1253", "cp1254", "iso8859-2",
    "koi8-r", "cp850", "cp932", "gb18030", "big5", "cp949",
)  # fmt: skip
WESTERN_LETTERS = frozenset(
    "äöüÄÖÜßéèêëáàâãåæçíìîïñóòôõøœúùûýÿÉÈÊÁÀÂÃÅÆÇÍÎÑÓÔÕØŒÚ"  # letters
    "°±µ²³½¼¾×·§€£©®«»„“”‘’–—…•ºª¿¡\u00a0"  # signs
)
LINES_LOOKED_AT = 2000
ENOUGH_UTF8 = 0.8
HINT = "Save it from the spreadsheet as 'CSV UTF-8'."

_HIGH = re.compile(rb"[\x80-\xff]")
_LINE_WITH_HIGH = re.compile(rb"[^\r\n]*[\x80-\xff][^\r\n]*")
_UTF8_LETTER = re.compile(
    rb"[\xc2-\xdf][\x80-\xbf]|[\xe0-\xef][\x80-\xbf]{2}|[\xf0-\xf4][\x80-\xbf]{3}"
)
_THREE_IN_A_ROW = re.compile(r"[^\W\d_a-zA-Z]{3}")


@dataclass(frozen=True, slots=True)
class Decoded:
    """A text file's content.

    Attributes:
        utf8: the whole text as UTF-8, without a mark at the start.
        encoding: the encoding found, as Python names it.
        note: a sentence when the encoding was a guess; else ''.
    """

    utf8: bytes
    encoding: str
    note: str = ""


def decoded(data: bytes, *, name: str) -> Decoded:
    """Find the encoding of a text file and return its text.

    Args:
        data: the bytes of the file, not empty.
        name: the file as shown to people.

    Raises:
        UnreadableFile: the letters cannot all be read, or it is not a text file.
    """
    encoding, mark = _marked(data)
    if encoding is None:
        encoding = _utf16_by_its_zeros(data)
    if encoding is None and _is_utf8(data):
        encoding = "utf-8"
    note = ""
    if encoding is None:
        _refuse_broken_utf8(data, name)
        encoding = _guessed(data, name)
        note = f"The file does not say how its letters are written; read as {encoding}."
    if encoding in ("utf-8", "utf-8-sig"):
        utf8 = data[len(mark) :]
        if mark and not _is_utf8(utf8):
            _refuse_broken_utf8(utf8, name, is_marked=True)
    else:
        utf8 = _transcoded(data, encoding, name)
    if b"\0" in utf8:
        raise UnreadableFile(
            f"{name} is not a text file, or it is damaged: it holds zero bytes.",
            hint="Save it again from the program it came from.",
        )
    return Decoded(utf8, encoding, note)


def _marked(data: bytes) -> tuple[str | None, bytes]:
    for mark, encoding in MARKS:
        if data.startswith(mark):
            return encoding, mark
    return None, b""


def _is_utf8(data: bytes) -> bool:
    try:
        data.decode("utf-8")
    except UnicodeDecodeError:
        return False
    return True


def _utf16_by_its_zeros(data: bytes) -> str | None:
    """Tell UTF-16 without a mark: ASCII letters leave a zero in every second byte."""
    if len(data) % 2:
        return None
    head = data[:4096]
    first, second = head[0::2].count(0), head[1::2].count(0)
    if second > 0.1 * len(head) / 2 and first <= 0.05 * second:
        return "utf-16-le"
    if first > 0.1 * len(head) / 2 and second <= 0.05 * first:
        return "utf-16-be"
    return None


def _refuse_broken_utf8(data: bytes, name: str, *, is_marked: bool = False) -> None:
    """Refuse a file that is UTF-8 but for a few bytes; a guess would spoil the rest."""
    count_high = len(_HIGH.findall(data))
    count_utf8 = sum(len(letter) for letter in _UTF8_LETTER.findall(data))
    if is_marked or count_utf8 >= ENOUGH_UTF8 * count_high:
        try:
            data.decode("utf-8")
        except UnicodeDecodeError as error:
            line = data.count(b"\n", 0, error.start) + 1
            raise UnreadableFile(
                f"{name}: line {line} holds a letter written in another encoding than "
                "the rest of the file (UTF-8).",
                hint="Open it in the spreadsheet, correct that row and save it as "
                "'CSV UTF-8'.",
            ) from None


def _guessed(data: bytes, name: str) -> str:
    lines = b"\n".join(
        found.group()
        for found in islice(_LINE_WITH_HIGH.finditer(data), LINES_LOOKED_AT)
    )
    if _is_plain_western(lines):
        guess: str | None = "cp1252"
    else:
        import chardet

        guess = chardet.detect(
            lines,
            prefer_superset=True,
            compat_names=False,
            include_encodings=CANDIDATES,
        )["encoding"]
    for encoding in (guess, "cp1252"):
        if encoding is not None and _can_decode(data, encoding):
            return encoding
    raise UnreadableFile(
        f"The letters of {name} cannot be read: no known encoding fits.", hint=HINT
    )


def _is_plain_western(lines: bytes) -> bool:
    """Tell western European text, where letters with marks stand among plain ones.

    A few such letters are too little for chardet's statistics, and Cyrillic or Greek
    bytes read as western letters too, but then whole words consist of them.
    """
    try:
        text = lines.decode("cp1252")
    except UnicodeDecodeError:
        return False
    is_known = all(letter in WESTERN_LETTERS for letter in text if ord(letter) > 127)
    return is_known and not _THREE_IN_A_ROW.search(text)


def _can_decode(data: bytes, encoding: str) -> bool:
    try:
        data.decode(encoding)
    except (UnicodeDecodeError, LookupError):
        return False
    return True


def _transcoded(data: bytes, encoding: str, name: str) -> bytes:
    try:
        return data.decode(encoding).encode("utf-8")
    except UnicodeError:
        raise UnreadableFile(
            f"The letters of {name} cannot be read: it says it is {encoding.upper()} "
            "and is not, or it was cut short.",
            hint=HINT,
        ) from None

"""Tables as spreadsheets save them: encodings, delimiters and decimal marks."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from scheduler.errors import UnreadableError
from scheduler.language.locale_formats import DecimalMark

#: Largest file that is opened, bytes; assumed, because a season of gauges is under 1 MB.
MAX_FILE_BYTES = 50_000_000
_SAVE = {".csv": 'save it as "CSV UTF-8" and try again'}
_SAVE_TEXT = "save it as plain text and try again"
_MAGIC = {
    b"PK\x03\x04": "a spreadsheet workbook or zip file",
    b"\xd0\xcf\x11\xe0": "an old spreadsheet workbook",
    b"%PDF": "a PDF",
    b"\x1f\x8b": "a compressed file",
}
_NOT_TEXT = re.compile(r"[\x00-\x08\x0b\x0e-\x1f\x7f-\x9f\ufffd]")
_PLAIN = re.compile(r"[+-]?\d*\.?\d+(e[+-]?\d+)?|[+-]?\d+\.", re.IGNORECASE)
_COMMA = re.compile(r"[+-]?(\d+,(\d{1,2}|\d{4,})|0*,\d+|0+,\d+|\d{1,3}(\.\d{3})+,\d+)")
_DOT = re.compile(r"[+-]?(\d+\.(\d{1,2}|\d{4,})|0*\.\d+|0+\.\d+|\d{1,3}(,\d{3})+\.\d+)")
_GROUPS = re.compile(r"[+-]?[1-9]\d{0,2}([,.])\d{3}(\1\d{3})*")


@dataclass(frozen=True, kw_only=True)
class CsvTable:
    """A table of text.

    Attributes
    ----------
    columns : headings as written.
    rows : (row number in the file, cells), as many cells as columns.
    mark : decimal mark that the numbers prove; None where they leave it open.
    faults : (row number, message, remedy) of rows that cannot be used.
    """

    columns: tuple[str, ...]
    rows: tuple[tuple[int, tuple[str, ...]], ...]
    mark: DecimalMark | None
    faults: tuple[tuple[int, str, str], ...] = ()


def file_bytes(path: Path) -> bytes:
    """Content of a file; UnreadableError where it cannot be read."""
    try:
        if path.is_dir():
            raise UnreadableError("is a folder, not a file", "move it away and put the file there")
        if (size := path.stat().st_size) > MAX_FILE_BYTES:
            raise UnreadableError(
                f"is {size / 1e6:,.0f} MB; files above {MAX_FILE_BYTES / 1e6:.0f} MB are not read",
                "keep this season's rows only",
            )
        return path.read_bytes()
    except FileNotFoundError:
        raise UnreadableError("is missing", "check its name and its folder") from None
    except PermissionError:
        raise UnreadableError(
            "cannot be read: permission denied", "give yourself permission to read it"
        ) from None
    except OSError as error:
        raise UnreadableError(f"cannot be read ({error.strerror})", "check the disk") from None


def file_text(path: Path) -> str:
    """Text of a file in UTF-8, UTF-16 or Windows-1252; UnreadableError where it is no text."""
    data, save = file_bytes(path), _SAVE.get(path.suffix.lower(), _SAVE_TEXT)
    for magic, format_name in _MAGIC.items():
        if data.startswith(magic):
            raise UnreadableError(f"is {format_name}, not text", save)
    text = _decoded(data)
    if _NOT_TEXT.search(text):
        raise UnreadableError("is not text (binary data)", save)
    return text


def _decoded(data: bytes) -> str:
    """Text by byte order mark, by the zero bytes of UTF-16, else UTF-8 or Windows-1252."""
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return data.decode("utf-16", errors="replace")
    for start, codec in ((0, "utf-16-be"), (1, "utf-16-le")):
        if len(data) >= 4 and not any(data[start:200:2]) and all(data[1 - start : 200 : 2]):
            return data.decode(codec, errors="replace")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("cp1252", errors="replace")


def read_csv(text: str) -> CsvTable:
    """The table of a text.

    Commas, semicolons, tabs or bars divide cells. Lines that begin with '#' are remarks.
    """
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    delimiter = _delimiter(text)
    faults: list[tuple[int, str, str]] = []
    lines = _lines(text, delimiter, faults)
    columns = tuple(c.strip() for c in next(lines, (0, []))[1])
    while columns and not columns[-1]:
        columns = columns[:-1]
    rows = []
    for number, cells in lines:
        if any(c.strip() for c in cells[len(columns) :]):
            faults.append(
                (
                    number,
                    f"has {len(cells)} cells, the heading {len(columns)}",
                    f'quote cells that hold "{delimiter}", or remove the extra cell',
                )
            )
            continue
        padded = (*cells, *[""] * (len(columns) - len(cells)))
        rows.append((number, tuple(c.strip() for c in padded[: len(columns)])))
    mark = decimal_mark(c for _, cells in rows for c in cells)
    if mark is None and delimiter == ",":
        mark = "."
    return CsvTable(columns=columns, rows=tuple(rows), mark=mark, faults=tuple(faults))


def _delimiter(text: str) -> str:
    """The delimiter of the heading: the first line that is neither empty nor a remark."""
    for line in text.split("\n"):
        if line[:4].lower() == "sep=" and len(line) > 4:
            return line[4]
        if line.strip(" \t,;|") and not line.lstrip('"').startswith("#"):
            bare = re.sub(r'"[^"]*"', "", line)
            return max(",;\t|", key=bare.count)
    return ","


def _lines(
    text: str, delimiter: str, faults: list[tuple[int, str, str]]
) -> Iterator[tuple[int, list[str]]]:
    """Row number and cells of every row that is neither empty nor a remark; adds to `faults`."""
    reader = csv.reader(io.StringIO(text), delimiter=delimiter, strict=True)
    number = 1
    try:
        for cells in reader:
            first = cells[0] if cells else ""
            remark = first.startswith("#") or (number == 1 and first[:4].lower() == "sep=")
            if not remark and any(c.strip() for c in cells):
                yield number, cells
            number = reader.line_num + 1
    except csv.Error as error:
        faults.append((number, f"cannot be split into cells ({error})", "pair the quotation marks"))


def decimal_mark(cells: Iterable[str]) -> DecimalMark | None:
    """The decimal mark that the numbers among the cells prove; None without proof, or with both."""
    comma = dot = False
    for cell in cells:
        if "," in cell:
            comma = comma or bool(_COMMA.fullmatch(cell))
            dot = dot or bool(_DOT.fullmatch(cell))
        elif "." in cell:
            dot = dot or bool(_DOT.fullmatch(cell))
    return None if comma == dot else "," if comma else "."


def read_number(text: str, mark: DecimalMark | None = ".") -> float:
    """A number from text with thousands separators or a decimal comma.

    Parameters
    ----------
    mark : decimal mark for forms with two meanings, 1,234 and 1.234; None makes 1,234 an error.

    Raises
    ------
    UnreadableError
        Where the text is no number, or may be two.
    """
    bare = re.sub(r"[\s\u00a0\u202f'’_]", "", text).replace("\u2212", "-").lstrip("$€£")
    if m := _GROUPS.fullmatch(bare):
        if m[2] is not None or (mark is not None and m[1] != mark):
            return float(bare.replace(m[1], ""))
        if mark is None and m[1] == ",":
            raise UnreadableError(
                f'"{text}" may be {bare.replace(",", "")} or {bare.replace(",", ".")}',
                "write it without a thousands separator",
            )
    if _COMMA.fullmatch(bare) or (m and m[1] == ","):
        return float(bare.replace(".", "").replace(",", "."))
    if _DOT.fullmatch(bare):
        return float(bare.replace(",", ""))
    if not _PLAIN.fullmatch(bare):
        raise UnreadableError(f'"{text}" is not a number', "write digits only, as 12.5")
    return float(bare)

"""A CxF3 document to plain nodes, read as the hostile file it may be.

No document type, no entity of its own, bounded depth and number of parts; nothing outside the
file is ever fetched. Only objects and colour specifications are kept, never the whole tree.
"""

from __future__ import annotations

import html
import re
from codecs import BOM_UTF8, lookup
from dataclasses import dataclass, field
from typing import Any
from xml.etree.ElementTree import ParseError
from xml.parsers.expat import errors

from defusedxml.common import DefusedXmlException
from defusedxml.ElementTree import DefusedXMLParser

from service.exchange.readings import FileWarning, ReadingsRefused
from service.exchange.text_file import decode

DEEPEST = 60
MOST_OBJECTS = 400_000
MOST_PARTS = 5_000  # of one object or specification
_KEPT = ("object", "colorspecification")
_KEPT_ELSE = ("object", "sample")  # where no object stands where it belongs
_NAMED_BY_XML = ("amp", "lt", "gt", "quot", "apos")
_DECLARATION = re.compile(rb"\s*<\?xml[^>]{0,200}?encoding\s*=\s*[\"']([\w.:-]{1,40})[\"']")
_ANY_DECLARATION = re.compile(r"^\s*<\?xml.{0,300}?\?>", re.S)
# Codecs that take time in proportion to the text and do nothing else; idna and the like do not.
_SAFE_CODEC = re.compile(
    r"(iso8859|cp|koi8|mac|utf|euc|gb|big5|shift_jis|iso2022|ascii|tis|johab|hz|ptcp|kz)[\w-]*"
)
_UNSAFE_CODECS = ("utf-7",)


@dataclass(slots=True)
class Node:
    """One element: names in small letters and without a namespace, so that spellings agree."""

    name: str
    attributes: dict[str, str]
    line: int
    children: list[Node] = field(default_factory=list)
    texts: list[str] = field(default_factory=list)

    @property
    def text(self) -> str:
        """What stands in it, without its children's."""
        return "".join(self.texts).strip()

    def part(self, *names: str) -> str | None:
        """The value of the first attribute or child so called; None if it is empty or not there."""
        for name in names:
            if value := self.attributes.get(name, "").strip():
                return value
            for child in self.children:
                if child.name == name:
                    value = child.text or child.attributes.get("value", "").strip()
                    if value:
                        return value
        return None

    def find(self, *names: str) -> Node | None:
        """The first node so called, however deep."""
        for child in self.children:
            if child.name in names:
                return child
            if (found := child.find(*names)) is not None:
                return found
        return None

    def all(self, *names: str) -> list[Node]:
        """Every node so called, however deep, in the order of the file."""
        found = []
        for child in self.children:
            if child.name in names:
                found.append(child)
            found += child.all(*names)
        return found


@dataclass(slots=True)
class CxfDocument:
    """What the document holds that readings are made of."""

    root: str = ""
    objects: list[Node] = field(default_factory=list)
    specifications: list[Node] = field(default_factory=list)
    warnings: list[FileWarning] = field(default_factory=list)


class _Target:
    """Takes what the parser sees and keeps the parts of interest."""

    def __init__(self, document: CxfDocument, everywhere: bool) -> None:
        self._document = document
        self._everywhere = everywhere
        self._kept = _KEPT_ELSE if everywhere else _KEPT
        self._names: dict[str, str] = {}
        self._depth = 0
        self._custom_depth = 0  # where a part of somebody's own began
        self._open: list[Node] = []
        self._parts = 0
        self.parser: Any = None

    def _local(self, tag: str) -> str:
        name = self._names.get(tag)
        if name is None:
            name = self._names[tag] = tag.rpartition("}")[2].rpartition(":")[2].lower()
        return name

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        self._depth += 1
        name = self._local(tag)
        if self._depth == 1:
            self._document.root = name
        elif self._depth > DEEPEST:
            raise ReadingsRefused(
                f"the elements are nested more than {DEEPEST} deep, which no CxF3 file needs. "
                "Export the readings again.",
                line=self.parser.CurrentLineNumber,
            )
        if not self._open:
            if name == "customresources" and not self._custom_depth and not self._everywhere:
                self._custom_depth = self._depth
            if name not in self._kept or self._custom_depth:
                return
            self._parts = 0
        self._parts += 1
        if self._parts > MOST_PARTS:
            raise ReadingsRefused(
                f"one object has more than {MOST_PARTS:,} parts. Export the readings again.",
                line=self.parser.CurrentLineNumber,
            )
        named = {self._local(key): value for key, value in attributes.items()}
        node = Node(name, named, self.parser.CurrentLineNumber)
        if self._open:
            self._open[-1].children.append(node)
        self._open.append(node)

    def data(self, text: str) -> None:
        if self._open:
            self._open[-1].texts.append(text)

    def end(self, tag: str) -> None:
        if self._depth == self._custom_depth:
            self._custom_depth = 0
        self._depth -= 1
        if not self._open:
            return
        node = self._open.pop()
        if self._open:
            return
        if node.name != "colorspecification":
            self._document.objects.append(node)
            if len(self._document.objects) > MOST_OBJECTS:
                raise ReadingsRefused(
                    f"the file has more than {MOST_OBJECTS:,} objects. Split it into smaller files."
                )
        else:
            self._document.specifications.append(node)

    def close(self) -> None:
        """Nothing is left to be built."""


def read_document(data: bytes) -> CxfDocument:
    """The objects and specifications of a document; repairs are tried and each is told.

    Raises
    ------
    ReadingsRefused
        Where the text is no XML, tries to declare a document type, or is not CxF3.
    """
    repairs: list[FileWarning] = []
    started = data.removeprefix(BOM_UTF8).lstrip()
    if started.startswith(b"<?xml") and not data.removeprefix(BOM_UTF8).startswith(b"<?xml"):
        data = started
        repairs.append(_said("space_before_declaration", "Empty lines at the start were skipped."))
    data = data.rstrip(b"\0\x1a \t\r\n") if not data[:4].count(0) else data
    while True:
        try:
            document = _parsed(data)
            if not document.objects and document.root == "cxf":
                document.objects = _parsed(data, everywhere=True).objects
        except ParseError as error:
            repaired = _repaired(data, error, {said.code for said in repairs})
            if repaired is None:
                raise _not_well_formed(error) from None
            data, said = repaired
            repairs.append(said)
            continue
        document.warnings = repairs
        return document


def _parsed(data: bytes, everywhere: bool = False) -> CxfDocument:
    document = CxfDocument()
    target = _Target(document, everywhere)
    parser = DefusedXMLParser(target=target, forbid_dtd=True)
    target.parser = parser.parser
    parser.parser.buffer_text = True
    try:
        parser.feed(data)
        parser.close()
    except DefusedXmlException:
        raise ReadingsRefused(
            "The file declares a document type or entities of its own, which this program does "
            "not follow, for safety. Export the readings as plain CxF3.",
        ) from None
    except (ValueError, LookupError) as error:  # an encoding the parser cannot have
        if isinstance(error, ReadingsRefused):
            raise
        raise _as_parse_error(errors.codes[errors.XML_ERROR_UNKNOWN_ENCODING]) from None
    return document


def _as_parse_error(code: int) -> ParseError:
    error = ParseError("the encoding is not known")
    error.code, error.position = code, (1, 0)
    return error


def _not_well_formed(error: ParseError) -> ReadingsRefused:
    line = error.position[0]
    return ReadingsRefused(
        f"the file is not whole XML: {errors.messages.get(error.code, 'it cannot be read')}. "
        "Export the readings again.",
        line=line,
    )


def _said(code: str, message: str) -> FileWarning:
    return FileWarning(code=code, message=message)


_UNBOUND = errors.codes[errors.XML_ERROR_UNBOUND_PREFIX]
_ENTITY = errors.codes[errors.XML_ERROR_UNDEFINED_ENTITY]
_MAY_BE_ENCODING = {
    errors.codes[errors.XML_ERROR_UNKNOWN_ENCODING],
    errors.codes[errors.XML_ERROR_INCORRECT_ENCODING],
    errors.codes[errors.XML_ERROR_INVALID_TOKEN],
}


def _repaired(data: bytes, error: ParseError, tried: set[str]) -> tuple[bytes, FileWarning] | None:
    """The document without what the parser stumbled over, and what was done; None if nothing."""
    if error.code == _UNBOUND and "namespace_not_declared" not in tried:
        return _with_namespaces(data), _said(
            "namespace_not_declared", "A prefix is used but not declared; it was passed over."
        )
    if error.code in _MAY_BE_ENCODING and "encoding_not_as_declared" not in tried:
        return _in_utf_8(data), _said(
            "encoding_not_as_declared",
            "The file is not in the encoding it declares, or in one the parser has. Check names "
            "with accents and signs.",
        )
    if error.code in (_ENTITY, *_MAY_BE_ENCODING) and "ampersand" not in tried:
        return _without_entities(data), _said(
            "ampersand", "Ampersands that XML does not allow were taken as they look."
        )
    return None


def _with_namespaces(data: bytes) -> bytes:
    prefixes = set(re.findall(rb"</?([A-Za-z_][\w.-]{0,60}):", data))
    prefixes |= set(re.findall(rb"\s([A-Za-z_][\w.-]{0,60}):[A-Za-z_]", data[:100_000]))
    declared = set(re.findall(rb"xmlns:([A-Za-z_][\w.-]{0,60})\s*=", data))
    missing = sorted(prefixes - declared - {b"xml", b"xmlns"})[:100]
    added = b"".join(b' xmlns:%s="undeclared"' % prefix for prefix in missing)
    return re.sub(rb"(<[A-Za-z_][\w.:-]*)", lambda m: m[1] + added, data, count=1)


def _in_utf_8(data: bytes) -> bytes:
    declared = _DECLARATION.match(data)
    text = None
    if declared is not None:
        try:
            name = lookup(declared[1].decode("ascii")).name
            if _SAFE_CODEC.fullmatch(name) and name not in _UNSAFE_CODECS:
                text = data.decode(name)
        except (LookupError, UnicodeError):
            pass
    if text is None:
        text, _ = decode(data)
    text = _ANY_DECLARATION.sub("", text.removeprefix("\ufeff"), count=1)
    return text.encode("utf-8", "replace")


def _without_entities(data: bytes) -> bytes:
    text = data.decode("utf-8", "replace")
    signs: dict[str, str] = {}

    def plain(match: re.Match[str]) -> str:
        entity = match[0]
        if entity not in signs:
            sign = entity if match[1] in _NAMED_BY_XML else html.escape(html.unescape(entity))
            signs[entity] = "&amp;" + entity[1:] if sign == html.escape(entity) else sign
        return signs[entity]

    text = re.sub(r"&([A-Za-z]\w{0,30});", plain, text)
    return re.sub(r"&(?!#?\w{1,30};)", "&amp;", text).encode("utf-8", "replace")

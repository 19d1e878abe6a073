"""A document as TOML, comments and all."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from typing import Any

_BARE = re.compile(r"[A-Za-z0-9_-]+")
#: A table that fits in a line of this length is written in line.
_LINE = 110


def toml_text(document: Mapping[str, Any], comments: Mapping[str, str], head: str = "") -> str:
    """The TOML of a document of tables, lists, text, numbers and flags.

    `comments` maps the path of a table (``panel``, ``load[2]``) to what stands above it; `head` begins the file.

    >>> document = {"load": [{"name": "dip", "g": {"value": 4, "band": [3, 5]}}]}
    >>> print(toml_text(document, {"load[0]": "from a file"}), end="")
    # from a file
    [[load]]
    name = "dip"
    g = { value = 4, band = [3, 5] }
    """
    lines = [*_comment(head), ""] if head else []
    for key, value in document.items():
        lines += _expanded(_key(key), key, value, comments)
    return "\n".join(lines[:-1]) + "\n"


def _comment(text: str) -> list[str]:
    clean = "".join(c if c == "\n" or c.isprintable() else " " for c in text)
    return [f"# {line}".rstrip() for line in clean.split("\n")] if text else []


def _expanded(shown: str, path: str, value: Any, comments: Mapping[str, str]) -> list[str]:
    """A table or a list of tables under its own headings, a blank line after each."""
    if isinstance(value, Mapping):
        return _table(f"[{shown}]", shown, path, value, comments)
    return [
        line for i, entry in enumerate(value) for line in _table(f"[[{shown}]]", shown, f"{path}[{i}]", entry, comments)
    ]


def _table(heading: str, shown: str, path: str, table: Mapping[str, Any], comments: Mapping[str, str]) -> list[str]:
    own = {k: v for k, v in table.items() if not _unfolds(k, v)}
    inner = [(k, v) for k, v in table.items() if k not in own]
    lines = _comment(comments.get(path, ""))
    if own or not inner or lines or heading.startswith("[["):
        lines += [heading, *(f"{_key(k)} = {_inline(v)}" for k, v in own.items()), ""]
    for key, value in inner:
        lines += _expanded(f"{shown}.{_key(key)}", f"{path}.{key}", value, comments)
    return lines


def _unfolds(key: str, value: Any) -> bool:
    """Whether a value gets headings of its own: tables (not uncertain numbers) that are too long for a line."""
    tables = isinstance(value, Mapping) or (
        isinstance(value, list) and bool(value) and all(isinstance(v, Mapping) for v in value)
    )
    short = isinstance(value, Mapping) and "value" in value
    return tables and not short and len(_inline(value)) + len(key) > _LINE


def _key(key: str) -> str:
    return key if _BARE.fullmatch(key) else _inline(key)


def _inline(value: Any) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007F")
    if isinstance(value, Mapping):
        pairs = ", ".join(f"{_key(k)} = {_inline(v)}" for k, v in value.items())
        return f"{{ {pairs} }}" if pairs else "{}"
    if isinstance(value, list | tuple):
        return f"[{', '.join(map(_inline, value))}]"
    return str(int(value)) if isinstance(value, float) and value.is_integer() and abs(value) < 1e15 else repr(value)

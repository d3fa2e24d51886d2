"""Packs scripts and styles where they lie: ``python -m config.packing FILE...``.

Parsers that know the two languages say what is a comment, what is text and what a word; comments,
indents, empty lines and blanks that part nothing go, and nothing else. No name is changed and no
statement moved: what phones get is what was written and tested. A packer that merged declarations
once put one before another that it needs, and the phone's first page stood still; brotli sees to
long names nearly as well. A file that a parser cannot read whole is left as it is.
"""

import re
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import tinycss2
import tree_sitter_javascript
from tree_sitter import Language, Node, Parser

_WORD = re.compile(rb"[\w$\x80-\xff]")
_TEXT = frozenset(("string", "template_string", "regex"))


def packed_script(source: bytes) -> bytes:
    """The same words of a module in the same lines, in UTF-8."""
    root = Parser(Language(tree_sitter_javascript.language())).parse(source).root_node
    if root.has_error:
        return source
    out, end = [], 0
    for word in _words(root):
        between = source[end : word.start_byte]
        text = source[word.start_byte : word.end_byte]
        if b"\n" in between:
            out.append(b"\n")  # a line's end may be the statement's
        elif between and out and _would_join(out[-1], text):
            out.append(b" ")
        out.append(text)
        end = word.end_byte
    return b"".join(out).strip() + b"\n"


def _words(node: Node) -> Iterator[Node]:
    """What stands between blanks and comments, in order; a text is one word, with all within."""
    if node.type in _TEXT or (not node.children and node.type != "comment"):
        if node.end_byte > node.start_byte:
            yield node
        return
    for child in node.children:
        yield from _words(child)


def _would_join(before: bytes, after: bytes) -> bool:
    """Whether two words would become one, or another sign, without a blank between them."""
    if _WORD.match(before[-1:]) and _WORD.match(after[:1]):
        return True
    return before[-1:] in b"+-/" and after[:1] in b"+-/*"


def packed_style(source: bytes) -> bytes:
    """The same rules without comments, each run of blanks as one, in UTF-8."""
    rules = tinycss2.parse_component_value_list(source.decode(), skip_comments=True)
    if _squeezed(rules):
        return source
    text: str = tinycss2.serialize(rules)
    return text.strip().encode() + b"\n"


def _squeezed(nodes: list[Any]) -> bool:
    """Make every run of blanks one and drop comments within; says whether something is wrong."""
    wrong = False
    said = [node for node in nodes if node.type != "comment"]
    blank = [node.type == "whitespace" for node in said]
    nodes[:] = [node for at, node in enumerate(said) if not (at and blank[at] and blank[at - 1])]
    for node in nodes:
        if node.type == "whitespace":
            node.value = " "
        wrong = wrong or node.type == "error"
        for within in ("content", "arguments"):
            inner = getattr(node, within, None)
            if isinstance(inner, list):
                wrong = _squeezed(inner) or wrong
    return wrong


def pack(file: Path) -> None:
    """Replace a script or a style by the same, packed."""
    packed = packed_style if file.suffix == ".css" else packed_script
    file.write_bytes(packed(file.read_bytes()))


if __name__ == "__main__":
    for name in sys.argv[1:]:
        pack(Path(name))

"""Packs scripts where they lie: ``python -m config.packing FILE...``.

They do the same in fewer letters; their own tests are run on the packed ones as well. This is a
process of its own: the library brings threads along that would not survive a fork of the server.
"""

import sys
from pathlib import Path

import minify


def pack(file: Path) -> None:
    """Replace a module by one without comments, indents and long names."""
    file.write_text(minify.string("text/javascript", file.read_text()))


if __name__ == "__main__":
    for name in sys.argv[1:]:
        pack(Path(name))

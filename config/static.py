"""Static files under names that change with their content, so that browsers may keep them."""

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from django.contrib.staticfiles.storage import HashedFilesMixin, ManifestStaticFilesStorage
from whitenoise.compress import Compressor

from config.packing import pack

# The stubs do not know this attribute.
_, _ALL = HashedFilesMixin._js_module_import_aggregation_patterns  # type: ignore[attr-defined]
# Without ``import("./x.js")``: here that only stands in comments, where it names types, and two
# modules may well name each other's.
_IMPORTS = tuple(one for one in _ALL if "import\\(" not in one[0])

OURS = ("js/", "css/")
PACKED = {".js", ".css"}


class HashedStatic(ManifestStaticFilesStorage):
    """Hashed names once ``collectstatic`` has run; before that, as in tests, the plain ones.

    What is ours is packed as it is collected, since phones fetch it over thin lines: scripts and
    styles lose comments and indents, and each file gets a twin in gzip and brotli that WhiteNoise
    hands out. Files of libraries are many, and seldom asked for: packing them would take ten
    seconds.
    """

    # An `import "./log.js"` must lead to the hashed name as well, else a new page may meet an old
    # module. Only in our own folder: elsewhere the pattern also matches examples in comments.
    support_js_module_import_aggregation = True
    _js_module_import_aggregation_patterns = ("js/*.js", _IMPORTS)

    # As deep as modules import one another: each turn settles the names of one level.
    max_post_process_passes = 12

    def stored_name(self, name: str) -> str:
        return super().stored_name(name) if self.hashed_files else name

    def post_process(self, *args: Any, **options: Any) -> Iterator[Any]:
        ours = []
        for name, hashed, processed in super().post_process(*args, **options):
            if hashed and processed is True and name.startswith(OURS):
                ours.append(Path(self.path(hashed)))
            yield name, hashed, processed
        # Only now: the pattern that finds imports wants their spaces.
        _pack([one for one in ours if one.suffix in PACKED])


def _pack(files: Sequence[Path]) -> None:
    for one in files:
        pack(one)
    packer = Compressor(quiet=True)
    for one in files:
        packer.compress(str(one))

"""Static files under names that change with their content, so that browsers may keep them."""

from django.contrib.staticfiles.storage import HashedFilesMixin, ManifestStaticFilesStorage

# The stubs do not know this attribute.
_, _IMPORTS = HashedFilesMixin._js_module_import_aggregation_patterns  # type: ignore[attr-defined]


class HashedStatic(ManifestStaticFilesStorage):
    """Hashed names once ``collectstatic`` has run; before that, as in tests, the plain ones."""

    # An `import "./log.js"` must lead to the hashed name as well, else a new page may meet an old
    # module. Only in our own folder: elsewhere the pattern also matches examples in comments.
    support_js_module_import_aggregation = True
    _js_module_import_aggregation_patterns = ("js/*.js", _IMPORTS)

    def stored_name(self, name: str) -> str:
        return super().stored_name(name) if self.hashed_files else name

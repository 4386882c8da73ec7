"""Static files under names that change with their content."""

from functools import cache

from whitenoise.storage import CompressedManifestStaticFilesStorage

IMPORT = r"""(?P<matched>import(?P<names>\s[^;"']*?)\s*from\s*["'](?P<url>\./[^"']+)["']\s*;)"""

MODULES = "js/outbox/*.js", "js/camera.js"


class StaticFiles(CompressedManifestStaticFilesStorage):
    """Our modules name each other (import … from "./other.js"), by names that change as well.

    Django's own switch for this reads every script, also those of others, some of which mention
    imports in their comments.
    """

    patterns = (
        *CompressedManifestStaticFilesStorage.patterns,
        *((files, ((IMPORT, 'import%(names)s from "%(url)s";'),)) for files in MODULES),
    )

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        # Every page names eight of them, and as long as this process runs they stay the same.
        self._known_url = cache(super().url)

    def url(self, name, force=False):
        return self._known_url(name, force)

"""Static files under names that change with their content."""

from whitenoise.storage import CompressedManifestStaticFilesStorage

IMPORT = r"""(?P<matched>import(?P<names>\s[^;"']*?)\s*from\s*["'](?P<url>\./[^"']+)["']\s*;)"""


class StaticFiles(CompressedManifestStaticFilesStorage):
    """Our modules name each other (import … from "./other.js"), by names that change as well.

    Django's own switch for this reads every script, also those of others, some of which mention
    imports in their comments.
    """

    patterns = (
        *CompressedManifestStaticFilesStorage.patterns,
        ("js/outbox/*.js", ((IMPORT, 'import%(names)s from "%(url)s";'),)),
    )

"""Files in S3-compatible storage, which an installation may lack the packages for."""

from collections.abc import Iterator
from pathlib import PurePosixPath

from storages.backends.s3 import S3Storage

from flockcare.core.storage import Stored


class BucketStorage(S3Storage):
    """Files in a bucket. The service answers an upload when all of it is kept for good, and
    leaves nothing of one that broke off (Amazon S3 User Guide, "Data consistency model":
    an upload is atomic; from memory).
    """

    def stored(self, prefix: str) -> Iterator[Stored]:
        """A thousand names with each question."""
        start = str(PurePosixPath(self.location or "", prefix)) + "/"
        for found in self.bucket.objects.filter(Prefix=start):
            name = PurePosixPath(found.key).relative_to(self.location or "").as_posix()
            yield Stored(name, found.size, found.last_modified)

    def remove_empty_folder(self, prefix: str) -> None:
        """There are no folders here."""

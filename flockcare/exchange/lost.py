"""Photos whose files were lost before the export: what says so in the archive, and to people.

Everything else that is known of such a photo is exported and brought in like that of any other.
"""

LETTER = "lost-photos.txt"
_MOST_NAMED = 10


def letter(names: list[str]) -> bytes:
    """A text for whoever opens the archive; lines end as every editor of texts knows them."""
    lines = [
        f"{_files(names)} lost before this export was made. What is not in it:",
        "",
        *names,
        "",
        "All else that is known of these photos is in photos.csv, where the column lost is filled",
        "in. If you find one of them, put it here under its name before you import the export.",
    ]
    return "".join(f"{line}\r\n" for line in lines).encode()


def in_words(names: list[str]) -> str:
    """What an import says of them, in one paragraph."""
    more = len(names) - _MOST_NAMED
    named = ", ".join(names[:_MOST_NAMED]) + (f" and {more} more" if more > 0 else "")
    return f"{_files(names)} lost before the export. All but the picture is here: {named}."


def _files(names: list[str]) -> str:
    count = len(names)
    return "The file of 1 photo was" if count == 1 else f"The files of {count} photos were"

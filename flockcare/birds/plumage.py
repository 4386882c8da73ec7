"""The colour that stands for a bird without a photo: that of her breed's plumage.

Which colour a breed mostly has: common practice, no published source. The colours are made to tell
birds apart at a glance on light and dark pages, not to match feathers.
"""

import re

# Each with the ink that is read on it.
_DARK, _LIGHT = "#1f1b16", "#ffffff"
WHITE, CREAM, BUFF, GOLD = "#f4efe4", "#ead9b0", "#d9a75b", "#c98a2d"
RED, BROWN, BLACK = "#93412a", "#6f4a2f", "#2b2a2e"
BLUE, GREY, SPECKLED = "#5f6e80", "#a9a59d", "#8b5a3c"
NOT_KNOWN = "#d8d3c4"
_DARK_ONES = {RED, BROWN, BLACK, BLUE, SPECKLED}

# The first of these words in a name decides, from left to right: a variety names its colour.
_VARIETIES = {
    **dict.fromkeys(("white", "snow"), WHITE),
    **dict.fromkeys(("cream", "light", "columbian", "lemon", "ermine"), CREAM),
    **dict.fromkeys(("buff", "ginger", "apricot"), BUFF),
    **dict.fromkeys(("gold", "golden", "orange"), GOLD),
    **dict.fromkeys(("red", "mahogany", "chestnut"), RED),
    **dict.fromkeys(("brown", "partridge", "chocolate", "dun", "wheaten"), BROWN),
    **dict.fromkeys(("black", "cuckoo", "copper"), BLACK),
    **dict.fromkeys(("blue", "lavender", "slate", "splash"), BLUE),
    **dict.fromkeys(("silver", "barred", "grey", "gray", "dark", "pencilled"), GREY),
    **dict.fromkeys(("speckled", "spangled", "mottled", "millefleur", "pied"), SPECKLED),
}
_BREEDS = {
    **dict.fromkeys(("leghorn", "silkie", "lakenvelder"), WHITE),
    **dict.fromkeys(("sussex", "brahma", "faverolles", "faverolle", "delaware"), CREAM),
    **dict.fromkeys(("orpington", "cochin", "pekin"), BUFF),
    **dict.fromkeys(("sebright", "campine"), GOLD),
    **dict.fromkeys(("rhode", "rir", "hampshire", "buckeye", "hybrid", "comet", "link"), RED),
    **dict.fromkeys(("welsummer", "barnevelder", "ameraucana", "araucana"), BROWN),
    **dict.fromkeys(("australorp", "giant", "minorca", "langshan", "maran", "marans"), BLACK),
    **dict.fromkeys(("andalusian",), BLUE),
    **dict.fromkeys(("rock", "dominique", "wyandotte", "dorking", "legbar", "hamburg"), GREY),
    **dict.fromkeys(("ancona", "houdan", "java"), SPECKLED),
}


def plumage(breed: str) -> str:
    """The colour (``#rrggbb``) for a breed as keepers write it; a neutral one where not known."""
    words = re.findall(r"[^\W\d_]+", breed.lower())
    for table in (_VARIETIES, _BREEDS):
        for word in words:
            if found := table.get(word) or table.get(word.removesuffix("s")):
                return found
    return NOT_KNOWN


def ink_on(colour: str) -> str:
    return _LIGHT if colour in _DARK_ONES else _DARK


def initial(name: str) -> str:
    """What stands on the disc: the number of ``Hen 12``, else the first letter."""
    if number := re.search(r"\d{1,3}$", name.strip()):
        return number[0]
    return next((letter.upper() for letter in name if letter.isalnum()), "?")

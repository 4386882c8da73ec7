"""Why a photo must not be measured, in words for a keeper."""

TOO_TILTED = (
    "The card is too tilted towards the camera. Hold the phone straight above the card and take "
    "the photo again."
)
TOO_SMALL = "The card is too small in the picture. Go closer, or use a larger size of the picture."
TOO_BLURRED = (
    "The card is blurred. Hold still, let the camera focus on the card and take the photo again."
)
TOO_BENT = (
    "The card is bent or creased, so its markers do not lie flat. Lay it flat and take the photo "
    "again."
)
TOO_COVERED = (
    "Too few of the card’s black squares can be seen round the window. Get the whole card into "
    "the picture, keep fingers and bright reflections off it and take the photo again."
)
TWO_CARDS = "There is more than one card in the picture. Take a photo with one card only."
OUT_OF_REACH = (
    "The outline goes too far outside the card’s black squares to be measured. Lay the foot in "
    "the card’s window and take the photo again."
)
TOO_SHORT = (
    "The two points are too close together in the picture to give a scale. Tap the ends of a "
    "longer piece, or use a larger size of the picture."
)
NO_LENGTH = "The known length must be a number of millimetres above zero."


class CannotMeasure(Exception):
    """The photo must not be measured. ``reason``: why, in words for a keeper.

    code: the card's code where it could be read all the same, else None.
    """

    def __init__(self, reason, code=None):
        super().__init__(reason)
        self.reason = reason
        self.code = code

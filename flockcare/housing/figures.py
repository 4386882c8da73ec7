"""The verdict on each figure, once: marks of the drawing and the table of room both ask here."""

from __future__ import annotations

import enum

BETWEEN_PERCHES_CM = 30  # Council Directive 1999/74/EC, from memory; so are the next two.
TO_THE_WALL_CM = 20
PERCH_CM_PER_HEN = 15

ROUNDED, UNKIND = {"round", "rounded"}, {"square", "sharp"}


class Verdict(enum.StrEnum):
    MET = "met"
    NOT_MET = "not met"
    UNKNOWN = "not known"


def edge_verdict(edge: str) -> Verdict:
    """Of what a foot grips. Other words than those to choose from say nothing."""
    if edge in UNKIND:
        return Verdict.NOT_MET
    return Verdict.MET if edge in ROUNDED else Verdict.UNKNOWN


def at_least(value: float | None, least: float) -> Verdict:
    if value is None:
        return Verdict.UNKNOWN
    # A hair's breadth of rounding must not decide.
    return Verdict.MET if value >= least - 1e-9 else Verdict.NOT_MET

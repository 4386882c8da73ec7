"""What is wrong with a file, said so that a keeper can find and fix it."""

from dataclasses import dataclass

MOST_SHOWN = 200
EMPTY = "This must not be empty."


@dataclass(frozen=True)
class Problem:
    file: str
    message: str
    line: int | None = None
    column: str = ""

    def __str__(self):
        place = [self.file, f"line {self.line}" if self.line else "", self.column]
        return f"{', '.join(part for part in place if part)}: {self.message}"


class Refused(Exception):
    """Nothing was imported; ``problems`` says why, ``more`` that there may be others."""

    def __init__(self, problems: list[Problem], *, more: bool = False):
        super().__init__("\n".join(str(problem) for problem in problems))
        self.problems, self.more = problems, more


class Problems(list):
    """Collects until there are so many that nobody would read on; then refuses."""

    def add(self, *args, **kwargs) -> None:
        self.append(Problem(*args, **kwargs))
        if len(self) >= MOST_SHOWN:
            raise Refused(list(self), more=True)

    def refuse_if_any(self) -> None:
        if self:
            raise Refused(list(self))

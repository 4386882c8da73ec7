"""Make the demo flock if it is not there yet; its history ends today."""

from django.core.management.base import BaseCommand
from django.utils import timezone

from flockcare.demo.load import load_demo


class Command(BaseCommand):
    help = __doc__

    def handle(self, **options):
        progress = Progress(self.stdout)
        load_demo(timezone.localdate(), tell=progress.tell)
        progress.end()


WIDTH = 20


def _bar(done: int, of: int) -> str:
    """``#####...............``: what is done, of what there is to do."""
    full = WIDTH * done // of
    return "#" * full + "." * (WIDTH - full)


class Progress:
    """What is being done: one line that is rewritten on a terminal, elsewhere a line a step."""

    def __init__(self, out):
        self.out, self.is_terminal, self.step = out, out.isatty(), ""
        self.width = 0

    def tell(self, step: str, done: int = 0, of: int = 0) -> None:
        if self.is_terminal:
            words = f"{step}: {_bar(done, of)} {done + 1} of {of} …" if of else f"{step} …"
            self.out.write("\r" + words.ljust(self.width), ending="")
            self.width = len(words)
        elif step != self.step:
            self.out.write(f"{step} …")
        self.step = step
        self.out.flush()

    def end(self) -> None:
        """Leaves the terminal's line as if nothing had stood there."""
        if self.is_terminal and self.step:
            self.out.write("\r" + " " * self.width + "\r", ending="")
            self.out.flush()

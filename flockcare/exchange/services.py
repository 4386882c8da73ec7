"""Records exchange: a flock as a folder or zip of CSV files and photos, in and out.

``check(read_folder(path), flock)`` gives a Plan or raises Refused with every problem;
``apply(plan)`` saves it. ``export(flock, path)`` writes.
"""

from flockcare.exchange.applying import apply
from flockcare.exchange.checking import Plan, check
from flockcare.exchange.problems import Problem, Refused
from flockcare.exchange.reading import Tables, read_folder
from flockcare.exchange.writing import export

__all__ = ["Plan", "Problem", "Refused", "Tables", "apply", "check", "export", "read_folder"]

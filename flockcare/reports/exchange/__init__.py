"""Records exchange: a flock as a folder or zip of CSV files and photos, in and out.

``check(read_folder(path), flock)`` gives a Plan or raises Refused with every problem;
``apply(plan)`` saves it. ``export(flock, path)`` writes.
"""

from flockcare.reports.exchange.applying import apply
from flockcare.reports.exchange.checking import Plan, check
from flockcare.reports.exchange.problems import Problem, Refused
from flockcare.reports.exchange.reading import Tables, read_folder
from flockcare.reports.exchange.writing import export

__all__ = ["Plan", "Problem", "Refused", "Tables", "apply", "check", "export", "read_folder"]

"""The demo is a part of a demo installation only."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
SERVE = (
    "import sys, flockcare.wsgi, flockcare.urls, flockcare.running.management.commands.up\n"
    "print(*(name for name in sys.modules if name.startswith('flockcare.demo')))\n"
)


@pytest.mark.parametrize(("wanted", "loaded"), [("0", False), ("1", True)])
def test_serving_loads_the_demo_in_a_demo_installation_only(tmp_path, wanted, loaded):
    told = {**os.environ, "FLOCKCARE_DATA": str(tmp_path), "FLOCKCARE_DEMO": wanted}
    code = f"import os; os.environ['DJANGO_SETTINGS_MODULE'] = 'flockcare.settings'\n{SERVE}"
    done = subprocess.run(
        [sys.executable, "-c", code], env=told, cwd=ROOT, capture_output=True, text=True, check=True
    )
    assert bool(done.stdout.strip()) is loaded

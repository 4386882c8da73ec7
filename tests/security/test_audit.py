"""The step that asks about known vulnerabilities cannot pass in silence."""

from importlib.machinery import SourceFileLoader
from importlib.util import module_from_spec, spec_from_loader
from pathlib import Path
from types import SimpleNamespace

import pytest

PATH = Path(__file__).resolve().parents[2] / ".ci" / "audit"
HOLE = {"id": "CVE-2000-0001", "fix_versions": ["2.0"]}


@pytest.fixture
def audit(monkeypatch):
    """``audit(pypi answer, osv answer)`` gives the exit code."""
    loader = SourceFileLoader("audit", str(PATH))
    module = module_from_spec(spec_from_loader("audit", loader))
    loader.exec_module(module)
    monkeypatch.setattr(module.venv, "create", lambda *_, **__: None)
    monkeypatch.delenv("AUDIT", raising=False)

    def run(pypi, osv, installed=0):
        monkeypatch.setattr(
            module.subprocess, "run", lambda *_, **__: SimpleNamespace(returncode=installed)
        )
        answers = {"pypi": pypi, "osv": osv}
        monkeypatch.setattr(module, "ask", lambda _, service, __: answers[service])
        try:
            module.main()
        except SystemExit as end:
            return end.code
        return 0

    return run


@pytest.mark.parametrize(
    ("pypi", "osv", "installed"),
    [({}, {}, 0), ({"django": None}, {}, 0), ({}, {}, 1), ({"a": None, "b": []}, {"a": None}, 0)],
    ids=["no answer", "nothing known", "no auditor", "one not known"],
)
def test_what_was_not_audited_is_shouted(audit, capsys, monkeypatch, pypi, osv, installed):
    assert audit(pypi, osv, installed) == 0
    assert "NOT AUDITED" in capsys.readouterr().out
    monkeypatch.setenv("AUDIT", "must")
    assert audit(pypi, osv, installed) == 1


@pytest.mark.parametrize("first", [{"a": [HOLE], "b": []}, {"a": None, "b": []}, {}])
def test_a_known_vulnerability_ends_it(audit, capsys, first):
    assert audit(first, {"a": [HOLE], "b": []}) == 1
    assert "VULNERABLE a: CVE-2000-0001; mended in 2.0" in capsys.readouterr().out


def test_all_known_and_none_bad_passes(audit, capsys):
    assert audit({"a": [], "b": None}, {"a": [], "b": []}) == 0
    shown = capsys.readouterr().out
    assert "audited: 2 packages" in shown and "NOT AUDITED" not in shown

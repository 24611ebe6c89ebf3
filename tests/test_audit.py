"""What the audit of dependencies makes of the services' answers, as recorded."""

import re

import pytest

import audit

FAULT = {"id": "PYSEC-2026-1", "fix_versions": ["3.2"], "description": "…", "aliases": []}


@pytest.mark.parametrize(
    ("answer", "faults"),
    [
        (None, None),
        ({"dependencies": [{"name": "a", "skip_reason": "not found"}], "fixes": []}, None),
        ({"dependencies": [{"name": "a", "version": "1", "vulns": []}], "fixes": []}, []),
        (
            {
                "dependencies": [
                    {"name": "a", "version": "3.1", "vulns": [FAULT]},
                    {"name": "b", "skip_reason": "not found"},
                ]
            },
            ["a 3.1 (PYSEC-2026-1)"],
        ),
    ],
)
def test_python(answer, faults):
    assert audit.told_by_pip(answer) == faults


@pytest.mark.parametrize(
    ("answer", "faults"),
    [
        (None, None),
        ({"error": {"code": "ENOTFOUND"}}, None),
        ({"auditReportVersion": 2, "vulnerabilities": {}}, []),
        ({"vulnerabilities": {"a": {"severity": "high"}}}, ["a (high)"]),
    ],
)
def test_node(answer, faults):
    assert audit.told_by_npm(answer) == faults


def test_a_known_fault_fails_and_no_connection_does_not(monkeypatch, capsys):
    monkeypatch.setattr(audit, "node_faults", lambda: None)
    for found, status in ((None, 0), ([], 0), (["a 3.1 (PYSEC-2026-1)"], 1)):
        monkeypatch.setattr(audit, "python_faults", lambda found=found: found)
        assert audit.main() == status
    assert "cannot be reached" in capsys.readouterr().out


@pytest.mark.parametrize("name", ["requirements.lock", "requirements-dev.lock"])
def test_every_dependency_is_pinned_with_hashes(name):
    text = (audit.ROOT / name).read_text(encoding="utf-8")
    entries = audit._ENTRY.findall(text)
    assert len(entries) == len(re.findall(r"^[A-Za-z0-9]", text, re.MULTILINE)) > 20
    assert all("--hash=sha256:" in entry for entry in entries)

"""The files of `ops/deploy`: they can be read, and name only settings, commands, figures and headings that exist.

Not run here: containers are not built and no service manager starts anything.
"""

from __future__ import annotations

import configparser
import importlib
import json
import re
import shlex
import shutil
import subprocess
import sys
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

import msgspec
import pytest
import yaml

from api.settings import Settings, variable
from ops.cli import find_command

SETTINGS = {variable(field.name) for field in msgspec.structs.fields(Settings)}
UNITS = ("pourbook.service", "pourbook-backup.service", "pourbook-backup.timer", "pourbook-witness.service")


@pytest.fixture(scope="module")
def deploy(project: Path) -> Path:
    """The folder of these files."""
    return project / "ops" / "deploy"


@pytest.fixture(scope="module")
def compose(deploy: Path) -> Any:
    """The compose file, read."""
    return yaml.safe_load((deploy / "compose.yaml").read_text("utf-8"))


def _figures(project: Path) -> set[str]:
    """The names of what a service can be watched by, as its code writes them."""
    sources = "".join(
        (project / "api" / f"{name}.py").read_text("utf-8") for name in ("exposition", "counters", "histogram")
    )
    gauges = {f"pourbook_{name}" for name in re.findall(r'\(\s*"([a-z_]+)",\s+"', sources)}
    counters = {f"pourbook_{name}_total" for name in re.findall(r'_counter\("([a-z_]+)"', sources)}
    histograms = {"pourbook_registration_seconds", "pourbook_group_submissions"}
    assert all(f'"{name}"' in sources for name in histograms)
    return gauges | counters | {f"{name}_{part}" for name in histograms for part in ("bucket", "sum", "count")}


def _parsed(words: list[str]) -> None:
    """Parse a command's words as the command line does; wrong ones end in SystemExit."""
    found = find_command(words)
    assert found is not None, words
    parser = ArgumentParser()
    importlib.import_module(found[0].module).add_arguments(parser)
    parser.parse_args(found[1])


def test_compose_names_what_there_is(compose: Any) -> None:
    """Settings, secrets, volumes and services that are used are declared; the witness's command parses."""
    services = compose["services"]
    assert {"service-1", "service-2", "primary", "standby", "witness"} == set(services)
    for service in services.values():
        names = {name for name in service.get("environment", {}) if name.startswith("POURBOOK_")}
        assert names <= SETTINGS
        assert set(service.get("secrets", [])) <= set(compose["secrets"])
        assert set(service.get("depends_on", {})) <= set(services)
        named = {volume.split(":")[0] for volume in service.get("volumes", []) if volume[0] not in "./"}
        assert named <= set(compose["volumes"])
    _parsed(services["witness"]["command"])


def test_compose_is_of_the_published_form(deploy: Path, tmp_path: Path) -> None:
    """The Compose Specification's own schema takes it (https://github.com/compose-spec/compose-spec), and refuses a wrong one."""
    wrong = tmp_path / "compose.yaml"
    text = (deploy / "compose.yaml").read_text("utf-8")
    wrong.write_text(text.replace("services:", "services:\n  odd: {image: [1]}", 1), "utf-8")
    check = [sys.executable, "-m", "check_jsonschema", "--builtin-schema", "vendor.compose-spec"]
    taken, refused = (
        subprocess.run([*check, str(file)], text=True, capture_output=True, check=False)
        for file in (deploy / "compose.yaml", wrong)
    )
    assert (0, 1) == (taken.returncode, refused.returncode), taken.stdout
    assert "services.odd" in refused.stdout


def test_no_password_stands_in_a_file(deploy: Path) -> None:
    """Addresses hold no password, and no setting is a secret's text."""
    for file in deploy.iterdir():
        text = file.read_text("utf-8")
        assert not re.search(r"://[^/\s:@]+:[^/\s@]+@", text), file.name
        assert not re.search(r"PASSWORD\s*[:=]\s*[^/%\s$]", re.sub(r"PASSWORD_FILE", "", text)), file.name


def test_the_container_takes_what_it_needs(deploy: Path, project: Path) -> None:
    """Each file that is copied is there, and the packages come from a lock with hashes."""
    text = (deploy / "Containerfile").read_text("utf-8")
    copied = [line.split()[1] for line in text.splitlines() if line.startswith("COPY ") and "--from" not in line]
    assert [] == [name for name in copied if not (project / name).exists()]
    assert "--require-hashes" in text
    assert "\nUSER pourbook\n" in text


@pytest.mark.parametrize("name", UNITS)
def test_units_are_read_and_run_known_commands(deploy: Path, name: str, tmp_path: Path) -> None:
    """Each unit has its sections, its command parses, and where the checker is there it finds nothing but the program missing."""
    unit: Any = configparser.ConfigParser(strict=False, interpolation=None)
    unit.optionxform = str
    unit.read_string((deploy / name).read_text("utf-8"))
    started = unit.get("Service", "ExecStart", fallback="")
    if started:
        program, *words = shlex.split(started)
        assert "/opt/pourbook/venv/bin/pourbook" == program
        _parsed(words)
    if shutil.which("systemd-analyze"):
        for other in UNITS:
            shutil.copy(deploy / other, tmp_path / other)
        ran = subprocess.run(
            ["systemd-analyze", "verify", "--man=no", str(tmp_path / name)], capture_output=True, text=True, check=False
        )
        told = [line for line in ran.stderr.splitlines() if name in line and "is not executable" not in line]
        assert [] == told


def test_alerts_and_dashboard_ask_for_figures_that_exist(deploy: Path, project: Path) -> None:
    """No rule or panel waits for a figure that no service gives."""
    known = _figures(project)
    rules = [
        rule
        for group in yaml.safe_load((deploy / "alerts.yaml").read_text("utf-8"))["groups"]
        for rule in group["rules"]
    ]
    board = json.loads((deploy / "dashboard.json").read_text("utf-8"))
    asked = [rule["expr"] for rule in rules] + [
        target["expr"] for panel in board["panels"] for target in panel["targets"]
    ]
    assert [] == [name for expression in asked for name in re.findall(r"pourbook_\w+", expression) if name not in known]
    assert len({panel["id"] for panel in board["panels"]}) == len(board["panels"])


def test_each_alert_has_its_place_in_the_runbook(deploy: Path) -> None:
    """A rule links a heading of its own name, and the runbook has no heading that no rule links."""
    groups = yaml.safe_load((deploy / "alerts.yaml").read_text("utf-8"))["groups"]
    rules = {rule["alert"]: rule["annotations"]["runbook"] for group in groups for rule in group["rules"]}
    headings = re.findall(r"^## (\w+)$", (deploy / "RUNBOOK.md").read_text("utf-8"), re.MULTILINE)
    assert sorted(rules) == sorted(headings)
    assert all(link == f"RUNBOOK.md#{name.lower()}" for name, link in rules.items())

"""Compose, Kubernetes and systemd files are valid by the validators of others."""

from __future__ import annotations

import re
import shlex
import shutil
import subprocess
import sys
import warnings
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import typer
import yaml

from service.core.settings import PREFIX, Settings
from workers.cli.app import build
from workers.processes.boot import GRACE_S

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import kubernetes_validate

INFRA = Path(__file__).resolve().parents[3] / "infra"
KUBERNETES = INFRA / "kubernetes"
UNITS = sorted((INFRA / "systemd").glob("*.service"))
YAML = sorted([INFRA / "compose.yaml", *KUBERNETES.rglob("*.yaml")])
KNOWN = {PREFIX + name.upper() for name in Settings.model_fields}
VERSIONS = ("1.29", "1.34")
"""Versions of Kubernetes that the manifests are held to."""
EXPOSURE = 2.0
"""Worst exposure by systemd's own measure, 0 (best) to 10."""


def documents(path: Path) -> list[dict[str, Any]]:
    return [one for one in yaml.safe_load_all(path.read_text()) if one is not None]


def manifests() -> list[Any]:
    return [
        pytest.param(one, id=f"{one['kind']}-{one['metadata']['name']}")
        for path in sorted(KUBERNETES.rglob("*.yaml"))
        if path.name != "kustomization.yaml"
        for one in documents(path)
    ]


def pods(found: list[dict[str, Any]]) -> Iterator[tuple[str, dict[str, Any]]]:
    for one in found:
        if one["kind"] in ("Deployment", "Job"):
            yield one["metadata"]["name"], one["spec"]["template"]["spec"]


def everything() -> list[dict[str, Any]]:
    return [one.values[0] for one in manifests()]


def run(*command: str | Path) -> str:
    done = subprocess.run(
        [str(word) for word in command], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


def test_compose_file_fits_the_compose_specification() -> None:
    run(
        *(sys.executable, "-m", "check_jsonschema", "--builtin-schema", "vendor.compose-spec"),
        INFRA / "compose.yaml",
    )


def test_yaml_is_tidy() -> None:
    rules = "{extends: relaxed, rules: {line-length: {max: 140}, truthy: enable}}"
    run(sys.executable, "-m", "yamllint", "--strict", "-d", rules, *YAML)


@pytest.mark.parametrize("version", VERSIONS)
@pytest.mark.parametrize("manifest", manifests())
def test_manifest_fits_the_schemas_of_kubernetes(manifest: dict[str, Any], version: str) -> None:
    kubernetes_validate.validate(manifest, version, strict=True)


def test_a_manifest_that_is_wrong_is_noticed() -> None:
    wrong = documents(KUBERNETES / "base" / "workers.yaml")[0]
    wrong["spec"]["template"]["spec"]["terminationGraceSeconds"] = 150
    with pytest.raises(kubernetes_validate.ValidationError):
        kubernetes_validate.validate(wrong, VERSIONS[-1], strict=True)


@pytest.mark.skipif(shutil.which("kubectl") is None, reason="kubectl is not installed")
@pytest.mark.parametrize("overlay", ["example", "example/migrate"])
def test_overlay_can_be_built_and_fits(overlay: str) -> None:
    built = run("kubectl", "kustomize", KUBERNETES / overlay)
    found = [one for one in yaml.safe_load_all(built) if one]
    for one in found:
        kubernetes_validate.validate(one, VERSIONS[-1], strict=True)
        assert one["kind"] == "Namespace" or one["metadata"]["namespace"] == "servewright"
    for _name, pod in pods(found):
        for container in pod["containers"]:
            assert re.search(r"@sha256:[0-9a-f]{64}$", container["image"])


def test_pods_have_no_rights() -> None:
    found = dict(pods(everything()))
    assert set(found) == {"servewright-api", "servewright-workers", "servewright-migrate"}
    for pod in found.values():
        assert pod["automountServiceAccountToken"] is False
        assert pod["securityContext"]["runAsNonRoot"] is True
        assert pod["securityContext"]["seccompProfile"] == {"type": "RuntimeDefault"}
        (container,) = pod["containers"]
        walls = container["securityContext"]
        assert walls["allowPrivilegeEscalation"] is False
        assert walls["readOnlyRootFilesystem"] is True
        assert walls["capabilities"] == {"drop": ["ALL"]}
        assert "memory" in container["resources"]["limits"]


def test_pods_get_time_to_stop() -> None:
    found = dict(pods(everything()))
    drain = Settings.model_fields["drain_s"].default
    api, workers = found["servewright-api"], found["servewright-workers"]
    (pause,) = api["containers"][0]["lifecycle"]["preStop"]["exec"]["command"][1:]
    assert api["terminationGracePeriodSeconds"] >= drain + int(pause) + 10
    command = workers["containers"][0]["command"]
    grace = int(command[command.index("--grace") + 1])
    assert grace > GRACE_S
    assert workers["terminationGracePeriodSeconds"] >= grace + 15


def test_every_wall_has_its_gates() -> None:
    # all pods are shut in by one policy, and reach stores, names and receivers by others
    policies = [one for one in everything() if one["kind"] == "NetworkPolicy"]
    (shut,) = [one for one in policies if not {"ingress", "egress"} & set(one["spec"])]
    assert set(shut["spec"]["policyTypes"]) == {"Ingress", "Egress"}
    ports = {
        rule["port"]
        for one in policies
        for way in one["spec"].get("egress", [])
        for rule in way["ports"]
    }
    assert {53, 443, 5432, 6379} <= ports


def test_workers_are_scaled_by_a_metric_that_exists() -> None:
    (scaler,) = [one for one in everything() if one["kind"] == "HorizontalPodAutoscaler"]
    (metric,) = scaler["spec"]["metrics"]
    name = metric["external"]["metric"]["name"]
    source = (INFRA.parent / "service" / "api" / "metrics.py").read_text()
    assert f'"{name.removeprefix("servewright_")}"' in source
    assert metric["external"]["metric"]["selector"]["matchLabels"] == {"lane": "long"}
    assert name in (KUBERNETES / "README.md").read_text()


def test_commands_and_their_options_exist() -> None:
    ours = typer.main.get_command(build())
    assert isinstance(ours, typer.core.TyperGroup)
    compose = yaml.safe_load((INFRA / "compose.yaml").read_text())["services"].values()
    called = [pod["containers"][0]["command"] for _, pod in pods(everything())]
    called += [one["command"] for one in compose if one.get("command", [""])[0] == "servewright"]
    for unit in UNITS:
        (line,) = re.findall(r"^ExecStart=(.+)$", unit.read_text(), re.MULTILINE)
        called.append(shlex.split(line))
    assert len(called) == 8
    for _program, name, *words in called:
        known = {option for one in ours.commands[name].params for option in one.opts}
        assert {word for word in words if word.startswith("-")} <= known, (name, words)


def test_settings_named_exist() -> None:
    for path in (*YAML, *UNITS, KUBERNETES / "README.md", INFRA / "systemd" / "README.md"):
        assert set(re.findall(PREFIX + r"[A-Z0-9_]+", path.read_text())) - {PREFIX} <= KNOWN, path


@pytest.mark.skipif(shutil.which("systemd-analyze") is None, reason="systemd is not installed")
def test_units_are_sound(tmp_path: Path) -> None:
    copies = []
    for unit in UNITS:
        program = unit.read_text().replace("/opt/servewright/bin/servewright", "/bin/true")
        copies.append(tmp_path / unit.name)
        copies[-1].write_text(program)
    assert run("systemd-analyze", "verify", "--man=no", *copies) == ""


@pytest.mark.skipif(shutil.which("systemd-analyze") is None, reason="systemd is not installed")
@pytest.mark.parametrize("unit", UNITS, ids=lambda unit: unit.stem)
def test_units_expose_little(unit: Path) -> None:
    said = run("systemd-analyze", "security", "--offline=yes", "--no-pager", unit)
    measured = re.search(r"Overall exposure level for \S+: ([0-9.]+)", said)
    assert measured is not None
    assert float(measured[1]) <= EXPOSURE


def test_worker_unit_lets_the_decoder_wall_itself_in() -> None:
    # Found by running an analysis behind this filter: without capset no decoder starts.
    text = (INFRA / "systemd" / "servewright-worker.service").read_text()
    allowed = {
        word
        for line in re.findall(r"^SystemCallFilter=([^~].*)$", text, re.M)
        for word in line.split()
    }
    assert {"capset", "seccomp", "landlock_restrict_self"} <= allowed


def test_images_are_pinned_by_digest(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """With a stand-in for docker that knows one digest: no registry is asked here."""
    digest = "0123456789abcdef" * 4
    docker = tmp_path / "docker"
    docker.write_text(f'#!/bin/sh\n[ "$1" = pull ] || echo "${{5%%:*}}@sha256:{digest}"\n')
    docker.chmod(0o755)
    monkeypatch.setenv("PATH", f"{tmp_path}:/usr/bin:/bin")
    pinned = dict(line.split("=", 1) for line in run("bash", INFRA / "pin_images.sh").splitlines())
    wanted = set(re.findall(r"\$\{(\w+_IMAGE):\?", (INFRA / "compose.yaml").read_text()))
    assert set(pinned) == wanted
    assert all(re.fullmatch(rf"\S+:\S+@sha256:{digest}", image) for image in pinned.values())


def test_an_image_without_a_digest_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    docker = tmp_path / "docker"
    docker.write_text("#!/bin/sh\n")
    docker.chmod(0o755)
    monkeypatch.setenv("PATH", f"{tmp_path}:/usr/bin:/bin")
    done = subprocess.run(
        ["bash", str(INFRA / "pin_images.sh")], capture_output=True, text=True, check=False
    )
    assert done.returncode != 0
    assert "no digest" in done.stderr
    assert done.stdout == ""

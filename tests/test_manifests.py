"""The manifests of Kubernetes, against its published schemas.

The schemas are those of Kubernetes 1.37, strict (no unknown field), from the wheel of
`kubernetes-validate`. What belongs to an extension has no schema there and is only
held to name what exists.
"""

import copy
import json
import zipfile
from pathlib import Path
from typing import Any

import jsonschema_rs
import pytest
import yaml

ROOT = Path(__file__).resolve().parents[1]
MANIFESTS = tuple(
    yaml.safe_load_all((ROOT / "deploy/kubernetes/farm.yaml").read_text("utf-8"))
)
(WHEEL,) = (ROOT / ".venv/testdata").glob("kubernetes_validate-*.whl")
SCHEMAS = "kubernetes_validate/kubernetes-json-schema/v1.37.0-local-strict/"
EXTENSION = "keda.sh/v1alpha1"
PLAIN = [one for one in MANIFESTS if one["apiVersion"] != EXTENSION]


def schema(name: str) -> Any:
    with zipfile.ZipFile(WHEEL) as archive:
        return json.loads(archive.read(SCHEMAS + name.rpartition("/")[2]))


def faults(manifest: dict[str, Any]) -> list[str]:
    """Return what the schema of a manifest's kind says against it."""
    group = manifest["apiVersion"].replace("/", "-")
    checks = jsonschema_rs.validator_for(
        schema(f"{manifest['kind'].lower()}-{group}.json"),
        base_uri="schemas:///",
        retriever=schema,
    )
    return [error.message for error in checks.iter_errors(manifest)]


def kind_and_name(manifest: dict[str, Any]) -> str:
    return f"{manifest['kind']} {manifest['metadata']['name']}"


@pytest.mark.parametrize("manifest", PLAIN, ids=kind_and_name)
def test_manifests_are_what_kubernetes_takes(manifest: dict[str, Any]) -> None:
    assert faults(manifest) == []


def test_the_schemas_find_fault() -> None:
    spoilt = copy.deepcopy(next(one for one in PLAIN if one["kind"] == "Deployment"))
    spoilt["spec"]["template"]["spec"]["containers"][0]["arguments"] = ["worker"]
    assert faults(spoilt)
    del spoilt["spec"]["template"]
    assert faults(spoilt)


def test_what_scales_names_what_there_is() -> None:
    names = {kind_and_name(one) for one in MANIFESTS}
    scaled = next(one["spec"] for one in MANIFESTS if one["kind"] == "ScaledObject")
    assert f"Deployment {scaled['scaleTargetRef']['name']}" in names
    (trigger,) = scaled["triggers"]
    given = trigger["authenticationRef"]["name"]
    assert f"TriggerAuthentication {given}" in names

"""Templates that are compiled once on a machine."""

import tempfile
from pathlib import Path
from typing import Any

import pytest
from jinja2 import DictLoader, Environment

from carrellata.jobs.review.kept_templates import KeptTemplates


def rendered(text: str) -> str:
    environment = Environment(
        loader=DictLoader({"page.html": text}),
        bytecode_cache=KeptTemplates(),
        autoescape=True,
    )
    return environment.get_template("page.html").render(name="<b>")


def refuse(*_: Any, **__: Any) -> Any:
    raise OSError(28, "no space left on device")


def test_a_template_is_compiled_once_and_again_when_it_was_edited(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("NUMBA_CACHE_DIR", str(tmp_path))
    assert rendered("1 {{ name }}") == "1 &lt;b&gt;"
    monkeypatch.setattr(Environment, "compile", refuse)
    assert rendered("1 {{ name }}") == "1 &lt;b&gt;"
    with pytest.raises(OSError, match="no space"):
        rendered("2 {{ name }}")


def test_pages_are_written_where_nothing_can_be_kept(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("NUMBA_CACHE_DIR", str(tmp_path))
    monkeypatch.setattr(tempfile, "NamedTemporaryFile", refuse)
    assert rendered("3 {{ name }}") == "3 &lt;b&gt;"
    assert not [path for path in tmp_path.rglob("*") if path.is_file()]

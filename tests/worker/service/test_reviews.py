"""Reviews over HTTP: the project's own pages, and decisions saved beside them."""

import base64
import json
from typing import Any

import pytest
from job_files import metre_job, write_job
from service_process import JSON_TYPE, Reply, Service, assert_problem, walk_shot

from carrellata.jobs.decide.notes import read_notes
from carrellata.jobs.run.local import solve_job

REVIEWS = "/v1/reviews"
SEQUENCE = "reviewed"


@pytest.fixture(scope="module")
def reviewed(service: Service) -> Service:
    shots = [walk_shot("010"), walk_shot("020")]
    project = service.out / "north"
    project.mkdir(parents=True, exist_ok=True)
    job = write_job(service.folder, metre_job(*shots, sequence=SEQUENCE))
    solve_job(job, project, workers=1)
    return service


def notes(shot: str = "010", sequence: str = SEQUENCE, **fields: str) -> dict[str, str]:
    lines = [f"{name} = {json.dumps(value)}" for name, value in fields.items()]
    head = f'schema = "carrellata.notes/1"\nsequence = "{sequence}"\n'
    text = "\n".join([head, "[[decisions]]", f'shot = "{shot}"', *lines])
    return {"notes": text}


def save(service: Service, body: Any, sequence: str = SEQUENCE) -> Reply:
    return service.ask("POST", f"{REVIEWS}/{sequence}/notes", body)


def basic(token: str) -> dict[str, str]:
    return {
        "Authorization": f"Basic {base64.b64encode(f'x:{token}'.encode()).decode()}"
    }


def test_pages_and_data_are_those_on_the_disk(reviewed: Service) -> None:
    folder = reviewed.out / "north" / SEQUENCE / "review"
    for name in ("index.html", "cut.html", "010.html", "data/020.js"):
        reply = reviewed.ask("GET", f"{REVIEWS}/{SEQUENCE}/{name}")
        assert (reply.status, reply.body) == (200, (folder / name).read_bytes())
        assert reply.headers["content-security-policy"] == "frame-ancestors 'none'"
        assert reply.headers["last-modified"].endswith("GMT")
    for name in ("030.html", "data/030.js"):
        reply = reviewed.ask("GET", f"{REVIEWS}/{SEQUENCE}/{name}")
        assert_problem(reply, 404, "no_page")
    for name in ("..%2Fsequence.parquet", "index.htm", ".html"):
        reply = reviewed.ask("GET", f"{REVIEWS}/{SEQUENCE}/{name}")
        assert reply.status in (404, 422)


def test_a_browser_is_asked_for_the_token_as_a_password(reviewed: Service) -> None:
    place = f"{REVIEWS}/{SEQUENCE}/index.html"
    refused = reviewed.ask("GET", place, project=None)
    assert_problem(refused, 401, "no_token")
    assert refused.headers["www-authenticate"].startswith("Basic ")
    own = basic(reviewed.tokens["north"])
    assert reviewed.ask("GET", place, project=None, headers=own).status == 200
    wrong = reviewed.ask("GET", place, project=None, headers=basic("guessed"))
    assert_problem(wrong, 401, "token")
    # Nowhere else: a job is sent with a bearer token only.
    schema = reviewed.ask("GET", "/v1/schema", project=None, headers=own)
    assert_problem(schema, 401, "no_token")


def test_other_projects_have_no_such_review(reviewed: Service) -> None:
    place = f"{REVIEWS}/{SEQUENCE}"
    reply = reviewed.ask("GET", f"{place}/index.html", project="south")
    assert_problem(reply, 404, "no_review")
    reply = reviewed.ask("POST", f"{place}/notes", notes(note="x"), project="south")
    assert_problem(reply, 404, "no_review")


def test_notes_of_one_shot_replace_those_of_it_and_no_others(reviewed: Service) -> None:
    path = reviewed.out / "north" / SEQUENCE / "review" / "notes.toml"
    first = save(reviewed, notes("010", note='hold "it"', by="ad"))
    assert first.json == {"saved": "notes.toml", "decisions": 1}
    save(reviewed, notes("020", size="medium"))
    last = save(reviewed, notes("010", note="let go"))
    assert last.json == {"saved": "notes.toml", "decisions": 2}
    by_shot = {one.shot: one for one in read_notes(path).decisions}
    assert (by_shot["010"].note, by_shot["010"].by) == ("let go", "")
    assert by_shot["020"].size == "medium"


def test_notes_that_do_not_fit_are_refused_and_the_saved_ones_stay(
    reviewed: Service,
) -> None:
    path = reviewed.out / "north" / SEQUENCE / "review" / "notes.toml"
    save(reviewed, notes("020", note="kept"))
    before = path.read_bytes()
    other = save(reviewed, notes(note="x", sequence="other"))
    assert (
        "the review is of reviewed"
        in assert_problem(other, 422, "job_refused")["detail"]
    )
    assert_problem(save(reviewed, notes(size="huge")), 422, "job_refused")
    assert_problem(save(reviewed, {"notes": 7}), 422, "job_refused")
    assert_problem(save(reviewed, b"{"), 400, "json")
    assert_problem(save(reviewed, notes(note="x"), "nothing"), 404, "no_review")
    elsewhere = reviewed.ask(
        "POST",
        f"{REVIEWS}/{SEQUENCE}/notes",
        notes(note="x"),
        headers=JSON_TYPE | {"Sec-Fetch-Site": "cross-site"},
    )
    assert_problem(elsewhere, 403, "other_site")
    form = reviewed.ask(
        "POST",
        f"{REVIEWS}/{SEQUENCE}/notes",
        b"notes=x",
        headers={"Content-Type": "application/x-www-form-urlencoded"},
    )
    assert_problem(form, 415, "media_type")
    assert path.read_bytes() == before

"""The command line, as a person types it: what it prints, what it refuses, and how it ends."""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import jsonschema_rs
import pytest
from sqlmodel import Session, select
from typer.testing import CliRunner, Result

from server import cli
from server.cautions.models import Card
from server.db import make_engine, reading
from server.laboratory.models import Laboratory
from server.people.models import Person
from server.settings import Settings, settings
from tests.factories import EVERY_STAGE, TEST_POINTS, lid, wire

ADA = (
    "steward",
    "--login",
    "ada",
    "--name",
    "Ada",
    "--password",
    "a long cold night",
    "--zone",
    "Europe/Vienna",
)


@pytest.fixture
def chosen(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Settings]:
    """An installation of its own."""
    monkeypatch.setenv("COLDSTEAD_HOME", str(tmp_path / "home"))
    monkeypatch.delenv("COLDSTEAD_DATABASE_URL", raising=False)
    settings.cache_clear()
    yield settings()
    settings.cache_clear()


def run(*words: str) -> Result:
    result = CliRunner().invoke(cli.app, list(words))
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result


def document(**more: Any) -> dict[str, Any]:
    cryostat = {
        "stages": list(EVERY_STAGE),
        "cooler": {"kind": "heater-test", "points": TEST_POINTS},
        "limits_K": {"platform": 3.6},
    }
    joints = [
        {
            "key": "mount",
            "kind": "joint",
            "hot_stage": "mount",
            "cold_stage": "platform",
            "filler": "greased",
        },
        {"key": "chip", "kind": "joint", "hot_stage": "sample", "cold_stage": "mount", "resistance_K_W": 40},
    ]
    return {"cryostat": cryostat, "elements": [wire(), lid(), *joints], **more}


def kept(tmp_path: Path, content: Any) -> str:
    path = tmp_path / "bench.json"
    path.write_text(content if isinstance(content, str) else json.dumps(content))
    return str(path)


def test_heat_prints_a_table_without_server_or_database(tmp_path: Path) -> None:
    printed = run("heat", kept(tmp_path, document()))
    assert printed.exit_code == 0
    lines = printed.output.splitlines()
    assert lines[0].split()[:2] == ["stage", "temperature"]
    platform = next(line for line in lines if line.startswith("platform"))
    assert "within" in platform
    assert "3.6 K" in platform
    assert any(line.startswith("loom") for line in lines)
    assert "ranges are the central 95 %" in printed.output


def test_heat_prints_json_that_reads_back_as_the_same_budget(tmp_path: Path) -> None:
    from server.physics import thermal
    from server.physics.thermal import document as documents

    def no_number(text: str) -> float:
        raise AssertionError(f"{text} is no JSON")

    printed = run("heat", kept(tmp_path, document()), "--json")
    found = json.loads(printed.output, parse_constant=no_number)
    assert documents.read_budget(found) == thermal.balance(*documents.read(document()))
    assert 3.1 < found["temperatures"]["platform"]["low"] < found["temperatures"]["platform"]["high"] < 3.3


@pytest.mark.parametrize(
    ("content", "said"),
    [
        ("{", "Expecting"),
        ("", "Expecting"),
        ("[]", "document"),
        ("[" * 100_000, "nested"),
        ({"cryostat": {}}, "cryostat.cooler.kind"),
        (document(elements=[wire(count=0)]), "elements[0].count"),
        (document(elements=[wire(material="unobtainable")]), "unobtainable"),
        (document(elements=[wire(), wire()]), "there twice"),
        (document(elements=[wire(diameter_m=float("nan"))]), "finite"),
        (document(elements=[wire(diameter_m=10**400)]), "elements[0].diameter_m"),
        (document(elements=[{"key": f"w{n}", "kind": "wire"} for n in range(2001)]), "At most 2000"),
        (document(more=1), "more"),
    ],
)
def test_heat_says_what_is_wrong_with_a_document_and_ends_with_1(
    tmp_path: Path, content: Any, said: str
) -> None:
    ended = run("heat", kept(tmp_path, content))
    assert ended.exit_code == 1
    assert said in ended.output
    assert "Traceback" not in ended.output


def test_heat_says_when_there_is_no_such_file_or_it_is_none(tmp_path: Path) -> None:
    (tmp_path / "binary.json").write_bytes(b"\xff\xfe\x00")
    for path in (tmp_path, tmp_path / "nothing.json", tmp_path / "binary.json"):
        ended = run("heat", str(path))
        assert ended.exit_code == 1
        assert ended.output.strip()


def test_the_schema_is_a_schema_and_accepts_what_the_program_accepts() -> None:
    schema = json.loads(run("schema").output)
    jsonschema_rs.meta.validate(schema)
    valid = jsonschema_rs.validator_for(schema)
    assert not list(valid.iter_errors(document()))
    from server.demo.benches import BENCHES

    for bench in BENCHES:
        told = [row for step in bench.told for row in step.put]
        sent = document(elements=told)
        sent["cryostat"]["cooler"] = {"kind": "heater-test", "points": list(bench.points)}
        assert not list(valid.iter_errors(sent))


@pytest.mark.parametrize(
    "bad",
    [
        document(elements=[wire(count="many")]),
        document(elements=[wire(kind="spoon")]),
        document(elements=[{"kind": "wire"}]),
        document(elements="wire"),
        {"elements": []},
    ],
)
def test_the_schema_refuses_what_the_program_refuses(bad: dict[str, Any]) -> None:
    schema = json.loads(run("schema").output)
    assert list(jsonschema_rs.validator_for(schema).iter_errors(bad))


def test_the_schema_and_the_first_steward_are_made(chosen: Settings) -> None:
    assert run("migrate").exit_code == 0
    made = run(*ADA)
    assert made.exit_code == 0
    assert "ada may sign in" in made.output
    with opened(chosen) as session:
        assert session.exec(select(Person.login, Person.steward)).all() == [("ada", True)]
        assert session.exec(select(Laboratory.zone)).all() == ["Europe/Vienna"]
        assert session.exec(select(Card)).first() is not None
    assert run("migrate").exit_code == 0, "a second time there is nothing to do"


def opened(chosen: Settings) -> Session:
    return reading(make_engine(chosen.url))


def test_a_steward_is_not_made_with_what_cannot_be(chosen: Settings) -> None:
    run("migrate")
    short = run("steward", "--login", "ada", "--name", "Ada", "--password", "short")
    assert short.exit_code == 1
    nowhere = run(*ADA[:-1], "Nowhere/Atall")
    assert nowhere.exit_code == 1
    with opened(chosen) as session:
        assert session.exec(select(Person)).all() == []
    assert run(*ADA).exit_code == 0
    assert run(*ADA).exit_code == 1


def test_the_demo_laboratory_is_told_once(chosen: Settings) -> None:
    run("migrate")
    first = run("demo")
    assert first.exit_code == 0
    assert "password" in first.output
    from server.cryostats.models import Cryostat, Revision

    def told() -> list[tuple[str, int]]:
        with opened(chosen) as session:
            assert len(session.exec(select(Revision)).all()) > 10
            rows = session.exec(select(Cryostat).order_by(Cryostat.name)).all()
            return [(row.name, row.revision) for row in rows]

    before = told()
    assert len(before) == 2
    assert run("demo").exit_code == 0
    assert told() == before


@pytest.mark.usefixtures("chosen")
def test_a_backup_comes_back_into_an_empty_home_only(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    run("migrate")
    run(*ADA)
    archive = str(tmp_path / "books.zip")
    assert run("backup", archive).exit_code == 0
    refused = run("restore", archive)
    assert refused.exit_code == 1
    assert "something in this database already" in refused.output
    monkeypatch.setenv("COLDSTEAD_HOME", str(tmp_path / "other"))
    settings.cache_clear()
    assert run("restore", archive).exit_code == 0
    with opened(settings()) as session:
        assert session.exec(select(Person.login)).all() == ["ada"]
    assert run("restore", kept(tmp_path, "no zip")).exit_code == 1
    assert run("restore", str(tmp_path / "nothing.zip")).exit_code == 1


def test_every_command_says_what_it_does() -> None:
    listed = run("--help").output
    for command in ("migrate", "serve", "steward", "demo", "backup", "restore", "schema", "heat"):
        assert command in listed
        assert run(command, "--help").exit_code == 0


@pytest.mark.usefixtures("chosen")
def test_reminding_looks_for_silence_first_and_says_when_no_mail_can_go_out() -> None:
    assert run("migrate").exit_code == 0
    told = run("remind")
    assert told.exit_code == 1
    assert "0 faults were opened" in told.output
    assert "No mail is sent" in told.output

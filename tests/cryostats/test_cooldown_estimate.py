"""How long a cryostat takes to get cold: stored, shown on its pages, and changed by a mass."""

from typing import Any

import pytest
from fastapi.testclient import TestClient
from sqlalchemy.engine import Engine
from sqlmodel import Session

from server.cryostats import contents, cooldown_estimate, cooldown_rules
from server.people.models import Person
from server.people.service import CommandLine
from tests.factories import AT, a_bench, a_cooler, a_cryostat, logged, somebody

BASIS = cooldown_rules.read("learnt", "0 295\n1 160\n2 80\n3 20\n4 3.3", "copper-rrr-100 3")
ENTRY = {"kind": "learnt", "table": "0 295\n2 80\n4 3.3", "masses": "copper-rrr-100 3", "revision": "0"}


def mass(key: str = "block", **more: Any) -> dict[str, Any]:
    return {
        "key": key,
        "kind": "mass",
        "stage": "platform",
        "mass_kg": 0.3,
        "material": "copper-rrr-100",
    } | more


def test_without_any_word_of_it_an_ordinary_cryostat_is_told_as_such(session: Session) -> None:
    cryostat = a_cryostat(session)
    found = cooldown_estimate.estimate(session, cryostat)
    assert (found.kind, found.version) == ("default", 0)
    assert "ordinary" in found.words
    assert [row.target_K for row in found.times][:3] == [100.0, 50.0, 10.0]


def test_masses_put_in_since_the_reference_are_added_and_unknown_ones_are_gaps(session: Session) -> None:
    cryostat, person = a_cryostat(session), somebody(session)
    a_cooler(session, cryostat)
    logged(session, person, cryostat, mass("old"))
    cooldown_estimate.store(session, CommandLine(), cryostat, BASIS, 1, "", AT)
    plain = cooldown_estimate.estimate(session, cryostat)
    logged(session, person, cryostat, mass(), mass("what", material=None), mass("far", stage="shield"))
    found = cooldown_estimate.estimate(session, cryostat)
    assert (found.kind, found.version, plain.masses) == ("learnt", 1, ())
    assert [row.key for row in found.masses] == ["block"]
    assert len(found.gaps) == 1
    after, before = found.times[-1].time_s, plain.times[-1].time_s
    assert after is not None
    assert before is not None
    assert after.middle == pytest.approx(1.1 * before.middle, rel=1e-6)


def test_what_two_configurations_differ_by_is_told(session: Session) -> None:
    cryostat, person = a_cryostat(session), somebody(session)
    a_cooler(session, cryostat)
    logged(session, person, cryostat, mass())
    before, after = contents.elements(session, cryostat, 1), contents.elements(session, cryostat, 0)
    (gone,), gaps = cooldown_estimate.delays(session, cryostat, before, after)
    assert gone.time_s.middle < 0.0
    assert gaps == ()


PAGE = "/cryostats/bench-a/cooldown-times"


def test_the_steward_enters_it_and_pages_tell_it(
    engine: Engine, steward_client: TestClient, steward: Person
) -> None:
    a_bench(engine, steward, mass("old"), cooler=True)
    assert "ordinary" in steward_client.get(PAGE).text
    assert steward_client.post(PAGE, data=ENTRY).status_code == 303
    assert "learnt from a reference cooldown" in steward_client.get(PAGE).text
    part = steward_client.get(f"{PAGE}/part").text
    assert "<html" not in part
    assert "100 K" in part
    assert f'hx-get="{PAGE}/part"' in steward_client.get("/cryostats/bench-a").text


@pytest.mark.parametrize(
    ("field", "text"), [("table", "0 295\n2 ice"), ("masses", "brass 3"), ("revision", "7"), ("kind", "x")]
)
def test_what_is_wrong_stays_in_the_form_with_its_reason(
    engine: Engine, steward_client: TestClient, steward: Person, field: str, text: str
) -> None:
    a_bench(engine, steward)
    answer = steward_client.post(PAGE, data={**ENTRY, field: text})
    assert answer.status_code == 422
    assert f'href="#f-{field}"' in answer.text
    assert ENTRY["masses"] in answer.text or text in answer.text


def test_a_mass_in_hand_is_told_in_minutes_before_it_is_logged(
    engine: Engine, steward_client: TestClient, steward: Person
) -> None:
    """100 g of copper: about 5 min (common practice, no source)."""
    a_bench(engine, steward, cooler=True)
    form = {"kind": "mass", "e.stage": "platform", "e.mass_kg": "100 g", "e.material": "copper-rrr-100"}
    page = steward_client.post(
        "/cryostats/bench-a/configuration",
        data={**form, "base_revision": "0", "label": "block", "do": "preview"},
    ).text
    told = page.split("Time to get cold")[1].split("</ul>")[0]
    assert "min" in told
    assert "to the base" in told

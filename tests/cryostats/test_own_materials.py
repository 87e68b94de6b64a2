"""A laboratory's own material wherever a material is chosen: form, change, draft ground, document, budget."""

import json
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlalchemy.engine import Engine
from sqlmodel import Session

from server.cryostats import budget, contents, drafts, exchange, guards, incoming, instruments, service
from server.db import reading, writing
from server.errors import Refused
from server.materials import service as materials
from server.materials.rules import Own, Points
from server.people.models import Person
from server.people.service import CommandLine
from server.physics.materials import material
from server.physics.thermal import document
from tests.factories import AT, TEST_POINTS, a_bench, a_cooler, a_cryostat, change, logged, somebody, wire

ROUND_K = (1.0, 4.0, 10.0, 30.0, 77.0, 150.0, 310.0)
OWN = Own(
    "our-loom",
    Points(
        ROUND_K,
        tuple(material("phosphor-bronze").conductivity_W_m_K(T_K) for T_K in ROUND_K),
        tuple(material("phosphor-bronze").resistivity_ohm_m(4.0) for _ in ROUND_K),
    ),
    "our book",
    0.1,
)
TWICE = replace(
    OWN, points=replace(OWN.points, conductivity_W_m_K=tuple(2 * k for k in OWN.points.conductivity_W_m_K))
)


@pytest.fixture
def entered(session: Session) -> Session:
    """A laboratory that has a material of its own."""
    materials.add(session, CommandLine(), OWN, AT)
    return session


PLAIN = ("vessel", "shield", "platform")
LAG = {"stage": "shield", "length_m": 0.02, "state": "good", "filler": "varnish"}


def our_wire() -> dict[str, Any]:
    return wire(material="our-loom", lags=[LAG], current_A=0.0)


def best_W(found: budget.Found, stage: str = "shield") -> float:
    best = found.budget.heats["loom"][stage].best
    assert best is not None
    return best


def test_a_run_of_it_has_a_budget_without_a_gap(entered: Session) -> None:
    cryostat = a_cryostat(entered, stages=PLAIN)
    a_cooler(entered, cryostat)
    logged(entered, somebody(entered), cryostat, our_wire())
    found = budget.of_revision(entered, cryostat, 1)
    assert found.budget.gaps == ()
    assert best_W(found) > 0


def test_a_stored_budget_keeps_the_version_it_was_computed_with(entered: Session) -> None:
    cryostat = a_cryostat(entered, stages=PLAIN)
    a_cooler(entered, cryostat)
    logged(entered, somebody(entered), cryostat, our_wire())
    before = budget.of_revision(entered, cryostat, 1)
    materials.correct(entered, CommandLine(), TWICE, 1, "By two.", AT)
    kept = budget.of_revision(entered, cryostat, 1)
    assert kept.data == before.data
    assert kept.own_materials == {"our-loom": 1}
    after = budget.compute(entered, cryostat, contents.elements(entered, cryostat, 1))
    assert after.own_materials == {"our-loom": 2}
    # Twice the conductivity brings twice the heat, but for the lag, which holds the better conductor less.
    assert best_W(after) == pytest.approx(2 * best_W(before), rel=0.02)


def test_the_budget_of_a_draft_keeps_the_version_too(entered: Session) -> None:
    cryostat, ada = a_cryostat(entered, stages=PLAIN), somebody(entered)
    a_cooler(entered, cryostat)
    logged(entered, ada, cryostat, wire())
    sheet = drafts.make(entered, ada, cryostat.slug, drafts.Drawn("Ours", change(1, our_wire())), AT)
    materials.correct(entered, CommandLine(), TWICE, 1, "By two.", AT)
    assert drafts.budget_of(entered, sheet.version).own_materials == {"our-loom": 1}


def test_it_may_be_part_of_the_bare_reference(entered: Session) -> None:
    cryostat = a_cryostat(entered, stages=PLAIN)
    logged(entered, somebody(entered), cryostat, our_wire())
    data = {"cooler": {"kind": "heater-test", "points": TEST_POINTS}}
    instruments.measure_cooler(entered, CommandLine(), cryostat, data, 1, "", AT)
    known = budget.physical(entered, cryostat)
    assert known is not None
    assert known.bare.elements[0].key == "loom"
    found = budget.of_revision(entered, cryostat, 1)
    assert found.budget.temperatures.keys() >= {"shield", "platform"}


def test_without_it_the_element_is_refused_with_its_path(session: Session) -> None:
    cryostat = a_cryostat(session)
    with pytest.raises(Refused) as refusal:
        service.log_change(
            session, somebody(session), cryostat.slug, change(0, wire(material="our-loom")), AT
        )
    assert "our-loom" in refusal.value.fields["put.0.material"]


def test_a_document_taken_out_names_it_and_comes_in_again_only_where_it_is_known(entered: Session) -> None:
    cryostat = a_cryostat(entered, stages=PLAIN)
    a_cooler(entered, cryostat)
    logged(entered, somebody(entered), cryostat, our_wire())
    text = json.dumps(exchange.document_of(entered, cryostat, contents.elements(entered, cryostat, 1)))
    assert '"our-loom"' in text
    with pytest.raises(document.BadDocument) as refusal:
        document.read(json.loads(text))
    assert "our-loom" in refusal.value.faults["elements[0].material"]
    own = materials.in_force(entered)
    _, elements = document.read(json.loads(text), own)
    assert document.write_element(elements[0])["material"] == "our-loom"
    other = a_cryostat(entered, "Bench B", PLAIN)
    found = incoming.read(text.encode(), {}, own)
    assert exchange.change_from(entered, other, found, "Moved here").put[0].data["material"] == "our-loom"


def test_it_can_be_chosen_in_the_form_and_logged(
    app: FastAPI, sign_in: Callable[[Person], TestClient], steward: Person
) -> None:
    engine: Engine = app.state.engine
    with writing(engine) as session:
        materials.add(session, CommandLine(), OWN, AT)
        session.commit()
    slug = a_bench(engine, steward, wire(), cooler=True)
    client = sign_in(steward)
    page = client.get(f"/cryostats/{slug}/change?alter=loom").text
    assert '<option value="our-loom"' in page
    sent = {
        "base_revision": "1",
        "reason": "It is ours",
        "kind": "wire",
        "key": "loom",
        "was_key": "loom",
        "e.material": "our-loom",
        "e.count": "24",
        "e.diameter_m": "0.127 mm",
        "e.lengths_m.vessel-shield": "300 mm",
        "e.ends_on": "shield",
        "do": "log",
    }
    answer = client.post(f"/cryostats/{slug}/configuration", data=sent)
    assert answer.status_code == 303, answer.text
    with reading(engine) as session:
        cryostat = guards.find(session, slug)
        assert contents.elements(session, cryostat, 2)["loom"].data["material"] == "our-loom"
        found = budget.of_revision(session, cryostat, 2).budget
        assert [gap for gap in found.gaps if gap.key == "loom"] == []
        assert "shield" in found.heats["loom"]

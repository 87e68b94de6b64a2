"""What a page tells of a budget, and what it leaves untold."""

from sqlmodel import Session

from server.cryostats import budget, contents, views
from tests.factories import a_cooler, a_cryostat, lid, logged, somebody, wire


def test_what_is_part_of_the_zero_costs_nothing_that_can_only_be_told_as_more_than(session: Session) -> None:
    ada, bench = somebody(session), a_cryostat(session)
    support = {
        "key": "posts",
        "kind": "support",
        "cold_stage": "platform",
        "hot_stage": "shield",
        "house": True,
    }
    logged(session, ada, bench, lid(), support)
    row = a_cooler(session, bench)
    assert row.bare_revision == 0
    logged(session, ada, bench, lid("off"), wire())
    elements = contents.elements(session, bench, 2)
    found = budget.of_revision(session, bench, 2)
    assert any(cost.high is None for cost in found.budget.costs["posts"].values()), "warmer than was tested"
    told = views.costs_told_K(found.budget.costs["posts"], bare=True)
    assert [stage for stage, cost in told.items() if cost is not None and cost.high is None] == []
    lines = {line.put.key: line for line in views.budget_view(session, bench, elements, found).lines}
    assert lines["loom"].costs_K["platform"] is not None
    assert lines["lid"].costs_K["platform"].high is None  # type: ignore[union-attr]

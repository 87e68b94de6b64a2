"""The first set, by its pages."""

from fastapi.testclient import TestClient


def test_the_first_set_is_offered_to_the_steward_on_an_empty_room(
    steward_client: TestClient, member_client: TestClient
) -> None:
    assert "/stock/starter" in steward_client.get("/stock").text
    assert "/stock/starter" not in member_client.get("/stock").text
    assert steward_client.post("/stock/starter", data={}).status_code == 422
    answer = steward_client.post("/stock/starter", data={"key": ["gloves", "wipes"]})
    assert answer.status_code == 303
    assert steward_client.get("/stock").text.count("/stock/items/gloves") == 1

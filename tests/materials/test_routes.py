"""Pages of the materials."""

import re

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import col, select

from server.db import reading
from server.materials.models import OwnVersion
from server.physics.materials import material, materials

TABLE = "T [K]; k [W/(m·K)]\n2,0; 0,02\n8,0; 0,08"
GOOD = {
    "name": "our-resin",
    "table": TABLE,
    "source": "Measured here in March, book 3, page 12",
    "relative_uncertainty": "20",
    "note": "One sample.",
}
CORRECTED = GOOD | {"base": "1", "table": TABLE.replace("0,02", "0,03"), "reason": "A thermometer was off"}


def stored(app: FastAPI) -> list[OwnVersion]:
    with reading(app.state.engine) as session:
        return list(session.exec(select(OwnVersion).order_by(col(OwnVersion.number))).all())


def main(client: TestClient, address: str) -> str:
    answer = client.get(address)
    assert answer.status_code == 200
    return answer.text.split("<main")[1]


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
class TestReading:
    def test_every_material_stands_in_the_list_with_its_source(self, member_client: TestClient) -> None:
        page = main(member_client, "/materials")
        for name in materials():
            assert f'href="/materials/{name}"' in page
        assert material("stainless-304").about("conductivity").confidence in page
        assert 'href="/materials"' in main(member_client, "/calculators")

    @pytest.mark.parametrize("name", [*materials(), "copper-rrr-73"])
    def test_each_has_its_page(self, member_client: TestClient, name: str) -> None:
        page = main(member_client, f"/materials/{name}")
        assert "At round temperatures" in page
        assert ("∫ k dT" in page) == ("conductivity" in material(name).curves)

    def test_values_and_integrals_are_those_of_the_physics(self, member_client: TestClient) -> None:
        """Its published fit gives 7.92 W/(m K) at 77 K and 3031 W/m from 4 to 300 K."""
        page = main(member_client, "/materials/stainless-304")
        assert re.search(r'>77</th><td class="num">7\.92', page)
        assert "3031" in page

    @pytest.mark.parametrize("name", ["no-such", "copper-rrr-5", "Brass", "%00", "a%2Fb"])
    def test_what_there_is_not_is_not_found(self, member_client: TestClient, name: str) -> None:
        assert member_client.get(f"/materials/{name}").status_code == 404

    def test_a_published_material_has_no_versions(self, member_client: TestClient) -> None:
        assert member_client.get("/materials/brass?version=1").status_code == 404

    def test_nobody_reads_without_signing_in(self, client: TestClient) -> None:
        assert client.get("/materials").status_code in (303, 401)


def test_a_steward_enters_a_material_and_everybody_sees_it(
    app: FastAPI, steward_client: TestClient, member_client: TestClient
) -> None:
    answer = steward_client.post("/materials", data=GOOD)
    assert (answer.status_code, answer.headers["location"]) == (303, "/materials/our-resin")
    assert stored(app)[0].points == {"T_K": [2.0, 8.0], "conductivity_W_m_K": [0.02, 0.08]}
    assert stored(app)[0].relative_uncertainty == pytest.approx(0.2)
    page = main(member_client, "/materials/our-resin")
    for told in (GOOD["source"], "One sample.", "2–8 K", "±20", "Ada Steward", "Material our-resin entered"):
        assert told in page
    assert "Correct it" not in page
    assert 'href="/materials/our-resin"' in main(member_client, "/materials")


def test_a_file_takes_the_place_of_what_was_pasted(app: FastAPI, steward_client: TestClient) -> None:
    content = "T [K],k [W/(m·K)],rho [µΩ·cm]\n4,0.5,11\n9,1,12\n".encode("utf-16")
    files = {"file": ("ours.csv", content, "text/csv")}
    assert steward_client.post("/materials", data=GOOD, files=files).status_code == 303
    assert stored(app)[0].points["T_K"] == [4.0, 9.0]
    assert stored(app)[0].points["resistivity_ohm_m"] == pytest.approx([1.1e-7, 1.2e-7])


def test_a_correction_is_a_new_version_and_the_old_one_stays_visible(
    app: FastAPI, steward_client: TestClient, member_client: TestClient
) -> None:
    steward_client.post("/materials", data=GOOD)
    form = main(steward_client, "/materials/our-resin/correction")
    assert "2.0; 0.02" in form
    assert steward_client.post("/materials/our-resin/correction", data=CORRECTED).status_code == 303
    assert [row.number for row in stored(app)] == [1, 2]
    page = main(member_client, "/materials/our-resin")
    assert "A thermometer was off" in page
    assert "0.03000" in page
    old = main(member_client, "/materials/our-resin?version=1")
    assert "An earlier version" in old
    assert "0.02000" in old
    assert member_client.get("/materials/our-resin?version=3").status_code == 404


def test_two_corrections_of_one_version_are_a_conflict(app: FastAPI, steward_client: TestClient) -> None:
    steward_client.post("/materials", data=GOOD)
    steward_client.post("/materials/our-resin/correction", data=CORRECTED)
    again = steward_client.post("/materials/our-resin/correction", data=CORRECTED | {"note": "Mine."})
    assert again.status_code == 409
    assert len(stored(app)) == 2


@pytest.mark.parametrize(
    ("field", "bad", "told"),
    [
        ("name", "", "Enter a name"),
        ("name", "Our Resin", "Enter a name"),
        ("name", "phosphor-bronze", "taken by the program"),
        ("name", "copper-rrr-73", "taken by the program"),
        ("source", " ", "Enter the source"),
        ("source", "x" * 2001, "Write at most"),
        ("note", "x" * 2001, "Write at most"),
        ("relative_uncertainty", "", "Enter a relative uncertainty"),
        ("relative_uncertainty", "0", "Enter a relative uncertainty"),
        ("relative_uncertainty", "?", "Enter a relative uncertainty"),
        ("relative_uncertainty", "10–20", "Enter a relative uncertainty"),
        ("relative_uncertainty", "5000 %", "Enter a relative uncertainty"),
        ("relative_uncertainty", "3 mm", "Enter a relative uncertainty"),
        ("table", "", "Paste a table"),
        ("table", TABLE.replace("8,0;", "1,0;"), "Line 3: temperatures must rise"),
    ],
)
def test_what_is_to_mend_stands_at_its_field_and_nothing_is_stored(
    app: FastAPI, steward_client: TestClient, field: str, bad: str, told: str
) -> None:
    answer = steward_client.post("/materials", data=GOOD | {field: bad})
    assert answer.status_code == 422
    beside = re.search(f'id="f-{field}-error">(.*?)</p>', answer.text, re.DOTALL)
    assert beside is not None
    assert told in beside[1]
    assert stored(app) == []
    for kept in GOOD.keys() - {field, "table", "relative_uncertainty"}:
        assert GOOD[kept] in answer.text


def test_a_name_that_is_there_is_refused(app: FastAPI, steward_client: TestClient) -> None:
    steward_client.post("/materials", data=GOOD)
    answer = steward_client.post("/materials", data=GOOD | {"note": "Another."})
    assert answer.status_code == 422
    assert "there is “our-resin” already" in answer.text
    assert len(stored(app)) == 1


@pytest.mark.parametrize("without", ["reason", "base"])
def test_a_correction_says_why_and_of_which_version(
    app: FastAPI, steward_client: TestClient, without: str
) -> None:
    steward_client.post("/materials", data=GOOD)
    sent = {name: text for name, text in CORRECTED.items() if name != without}
    answer = steward_client.post("/materials/our-resin/correction", data=sent)
    assert answer.status_code == (422 if without == "reason" else 409)
    assert len(stored(app)) == 1


def test_nobody_but_a_steward_writes(
    app: FastAPI, steward_client: TestClient, member_client: TestClient
) -> None:
    steward_client.post("/materials", data=GOOD)
    assert member_client.get("/materials/new").status_code == 403
    assert member_client.post("/materials", data=GOOD | {"name": "mine"}).status_code == 403
    assert member_client.get("/materials/our-resin/correction").status_code == 403
    assert member_client.post("/materials/our-resin/correction", data=CORRECTED).status_code == 403
    assert len(stored(app)) == 1


def test_a_published_material_cannot_be_corrected(steward_client: TestClient) -> None:
    assert steward_client.get("/materials/brass/correction").status_code == 404
    assert steward_client.post("/materials/brass/correction", data=CORRECTED).status_code == 404


def test_texts_are_shown_as_text(steward_client: TestClient) -> None:
    steward_client.post("/materials", data=GOOD | {"note": "<script>alert(1)</script>"})
    assert "<script>alert" not in steward_client.get("/materials/our-resin").text
    assert "<script>alert" not in steward_client.get("/materials").text

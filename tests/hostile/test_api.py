"""What programs ask for as JSON: the description is that of the program itself, and nothing sent by it or against it
gets a traceback, or an answer that the description does not know.
"""

from __future__ import annotations

from typing import Any

import pytest
import schemathesis
from hypothesis import given
from hypothesis import strategies as st
from schemathesis import GenerationMode
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_headers_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from tests.hostile.mutations import tried
from tests.hostile.test_hostile_pages import House
from tests.hostile.walk import rules
from tripplan.planning.observed import VALUES
from tripplan.web import api
from tripplan.web.choosing import Choice, read_choice

CHECKS = [
    not_a_server_error,
    status_code_conformance,
    content_type_conformance,
    response_headers_conformance,
    response_schema_conformance,
]
KNOWN = {"schedule": {"slug": "week"}, "live": {"slug": "stair-ledge"}}


@pytest.fixture(scope="module")
def house(kept_on: str, tmp_path_factory: pytest.TempPathFactory) -> Any:
    made = House(tmp_path_factory.mktemp("api"), accounts=False)
    made.app.config.update(WTF_CSRF_ENABLED=False)  # what it guards is tried with the forms
    yield made
    made.store.close()


@pytest.fixture(scope="module")
def described(house: House) -> Any:
    return schemathesis.openapi.from_wsgi("/api/openapi.json", house.app)


def test_the_description_holds_only_what_the_program_answers(house: House, described: Any) -> None:
    described.validate()  # by the standard's own schema
    told = {each["operationId"] for path in described.raw_schema["paths"].values() for each in path.values()}
    assert told == set(api.OPERATIONS)  # test_pages.py looks which pages answer JSON
    assert told <= {rule.endpoint for method in ("GET", "POST") for rule in rules(house.app, method)}


def test_the_description_knows_every_word_that_the_page_of_a_plan_takes() -> None:
    told = dict(api.OPERATIONS["plans.data"].query)
    values = {name: "12" for name in told}
    read = read_choice(_Words(values))
    assert set(VALUES) <= set(told)
    assert set(read.query) == set(told)
    assert set(Choice().query) <= set(told)


class _Words(dict[str, str]):
    """Words of an address: each has every name once; a tick says yes."""

    def get(self, name: str, default: Any = None) -> Any:
        return "yes" if name in ("settled", "asked") else super().get(name, default)

    def getlist(self, name: str) -> list[str]:
        return [self[name]] if name in self else []


@pytest.mark.parametrize("endpoint", api.OPERATIONS)
def test_whatever_is_sent_the_answer_is_one_that_is_described(endpoint: str, described: Any, house: House) -> None:
    operation = described.find_operation_by_id(endpoint)
    known = KNOWN.get(endpoint.split(".")[0])

    @tried(4 if endpoint == "live.add" else 2)
    @given(st.data())
    def tell(data: st.DataObject) -> None:
        for mode in (GenerationMode.POSITIVE, GenerationMode.NEGATIVE):
            if mode is GenerationMode.NEGATIVE and not (operation.query or operation.body):
                continue
            case = data.draw(operation.as_strategy(generation_mode=mode))
            if known and data.draw(st.integers(0, 3)):
                case.path_parameters = dict(known)
            answer = case.call()
            case.validate_response(answer, checks=CHECKS)
            if house.walker.faults:
                raise house.walker.faults.pop()

    tell()

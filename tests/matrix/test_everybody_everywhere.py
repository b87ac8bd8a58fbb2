"""Everybody x every address x whose thing it is. What is expected follows from the scopes and ``roles.GRANTS`` alone."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any
from uuid import uuid4

import pytest
from django.db import transaction
from django.test import Client

from shared.business.actors import SYSTEM
from shared.business.roles import BUSINESS_SCOPES, GRANTS, SUPPLIER_SCOPES, MemberRole, Scope
from shared.members import services
from tests.conftest import Cast, client_with_key, sign_in
from tests.matrix.addresses import HOLDERS, NOBODYS, PLAIN, Case, cases
from tests.matrix.conftest import Stage
from tests.matrix.world import World

CASES = cases()
NOTHING = "0" * 22
NO_SUCH_TOKEN = "0" * 43
# what is there but not in a state to be shown yet answers as if it were not: these, and no other
NOT_YET = {("documents/<str:ref>.pdf", "GET")}
TEST_KEYS_ONLY = {("supply/sandbox/orders", "POST"), ("supply/sandbox/reset", "POST")}
LET_IN = frozenset({200, 201, 202, 204, 207, 400, 409, 410, 412, 415, 422, 428})


@dataclass(frozen=True, slots=True)
class People:
    """The stage with a client for each person, and keys of one scope or of all others."""

    own: World
    foreign: World
    clients: dict[str, Client]
    narrowed: Callable[[Scope, bool], Client]

    def ref(self, case: Case, whose: str) -> str:
        """Return the ref of our record, of another business's record, or of nothing."""
        if not case.holder:
            return ""
        return NOTHING if whose == "nothing" else getattr(self, whose).refs[case.holder]

    def ask(self, client: Client, case: Case, whose: str) -> Any:
        """Make a call and roll its changes back."""
        body = "{}" if case.method in {"POST", "PUT", "PATCH"} else ""
        headers = {"If-Match": "*", "Idempotency-Key": str(uuid4())}
        kind = "text/csv" if case.address == "imports" else "application/json"
        with transaction.atomic():
            inner = self.foreign.inner if whose == "foreign" else self.own.inner
            path = case.path(self.ref(case, whose), inner)
            answer: Any = client.generic(case.method, path, body, content_type=kind, headers=headers)
            _ = getattr(answer, "streaming", False) and b"".join(answer.streaming_content)
            transaction.set_rollback(True)
        return answer


def _bearer(text: str) -> Client:
    return Client(headers={"Authorization": f"Bearer {text}"})


@pytest.fixture(scope="module")
def people(stage: Stage) -> People:
    cast = stage.cast
    revoked, text = services.issue_key(name="lost", scopes=BUSINESS_SCOPES, business=cast.business, actor=SYSTEM)
    services.revoke_key(key=revoked, actor=SYSTEM)
    clients = {
        "anonymous": Client(),
        **{role.value: sign_in(cast.person(role)) for role in MemberRole},
        "stranger": sign_in(cast.stranger),
        "supplier": stage.supplier,
        "other supplier": client_with_key(supplier=cast.other_supplier),
        "revoked key": _bearer(text),
    }
    every = {
        (scope, has): _narrow(cast, scope, has)
        for scope in {scope for case in CASES for scope in case.endpoint.scopes.values()}
        for has in (True, False)
    }
    return People(stage.own, stage.foreign, clients, lambda scope, has: every[scope, has])


@pytest.fixture(autouse=True)
def many_calls(settings: Any) -> None:
    settings.RATE_QUOTA = 1_000_000


def _narrow(cast: Cast, scope: Scope, has: bool) -> Client:
    """Return a client with a key of this scope alone, or of every other scope its holder could have."""
    of_supplier = scope in SUPPLIER_SCOPES
    whole = SUPPLIER_SCOPES if of_supplier else BUSINESS_SCOPES
    holder = {"supplier_account": cast.supplier} if of_supplier else {"business": cast.business}
    _, text = services.issue_key(name="narrow", scopes={scope} if has else whole - {scope}, **holder, actor=SYSTEM)
    return _bearer(text)


def may(actor: str, scope: Scope) -> bool:
    """Return whether the table of roles allows this call."""
    if actor in {"supplier", "other supplier"}:
        return scope in SUPPLIER_SCOPES
    return scope in GRANTS[MemberRole.OWNER if actor == "stranger" else MemberRole(actor)]


def expected(actor: str, case: Case, whose: str) -> frozenset[int]:
    """Return the statuses that the call may answer."""
    if actor == "revoked key" or (actor == "anonymous" and not case.endpoint.public):
        return frozenset({401})
    if case.endpoint.public:
        return frozenset({404, 410, 422}) if case.stem == "quote-links/" else frozenset({200})
    if not may(actor, case.endpoint.scopes[case.method]):
        return frozenset({403})
    if (case.address, case.method) in TEST_KEYS_ONLY:
        return frozenset({403})
    others = "foreign" if actor in {"stranger", "other supplier"} else "own"
    if case.holder and whose != others:
        return frozenset({404, 422, 400})  # a body may be looked at before the thing; either way as for nothing
    return LET_IN | ({404} if (case.address, case.method) in NOT_YET else set())


ACTORS = (
    "anonymous", *(role.value for role in MemberRole), "stranger", "supplier", "other supplier", "revoked key",
)  # fmt: skip


def test_every_address_has_an_entry() -> None:
    known = set(HOLDERS) | set(NOBODYS) | PLAIN
    assert {case.stem for case in CASES} - known == set()
    assert {case.holder or case.stem for case in CASES if "<" in case.address} >= set(NOBODYS)


def test_every_method_names_its_scope() -> None:
    silent = [case for case in CASES if not case.endpoint.public and case.method not in case.endpoint.scopes]
    assert silent == []


@pytest.mark.parametrize("case", CASES, ids=str)
def test_everybody_is_answered_as_the_roles_say(people: People, case: Case) -> None:
    wrong = []
    for actor in ACTORS:
        for whose in ("own", "foreign", "nothing") if case.holder else ("own",):
            status = people.ask(people.clients[actor], case, whose).status_code
            if status not in expected(actor, case, whose):
                wrong.append((actor, whose, status))
    assert wrong == []


@pytest.mark.parametrize("case", [case for case in CASES if not case.endpoint.public], ids=str)
def test_a_key_opens_what_its_one_scope_opens_and_nothing_without_it(people: People, case: Case) -> None:
    scope = case.endpoint.scopes[case.method]
    holder = "supplier" if scope in SUPPLIER_SCOPES else "owner"
    assert people.ask(people.narrowed(scope, True), case, "own").status_code in expected(holder, case, "own")
    refused = people.ask(people.narrowed(scope, False), case, "own")
    assert (refused.status_code, refused.json()["scope"]) == (403, scope)


@pytest.mark.parametrize("case", [case for case in CASES if case.holder], ids=str)
def test_what_is_anothers_answers_to_the_byte_like_nothing_at_all(people: People, case: Case) -> None:
    actor = "supplier" if case.endpoint.scopes[case.method] in SUPPLIER_SCOPES else "owner"
    foreign, nothing = (_visible(people.ask(people.clients[actor], case, whose)) for whose in ("foreign", "nothing"))
    assert foreign == nothing
    assert case.method not in {"GET", "DELETE"} or foreign[0] == 404


def _visible(answer: Any) -> tuple[int, dict[str, Any], list[str]]:
    """Everything an answer tells but the request's own id and the count of calls."""
    body = {name: value for name, value in json.loads(answer.content).items() if name != "instance"}
    headers = {"X-Request-Id", "RateLimit"}
    return answer.status_code, body, sorted(f"{n}: {v}" for n, v in answer.headers.items() if n not in headers)

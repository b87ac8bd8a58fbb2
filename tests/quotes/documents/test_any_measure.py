"""Whatever a measure leaves out or names goes through every paper: quote, set-out, cut list, care, order list and saw sheet.

Each paper is made as far as its HTML; ``test_layout`` makes and looks at whole PDFs.
"""

from __future__ import annotations

from collections.abc import Iterator
from types import SimpleNamespace
from typing import Any

import pytest
from django.db import transaction
from hypothesis import HealthCheck, Phase, given, reject, seed, settings
from hypothesis import strategies as st
from hypothesis.strategies import DrawFn

from catalogue.engine.engine_input import market
from fencing.model.faults import InvalidDocument
from fencing.reading.strict_json import check_values
from quotes.documents import pdf as pdf_module
from quotes.documents.kinds import KINDS as DOCUMENT_KINDS
from quotes.documents.kinds.quote import quote_pdf
from quotes.jobs.document_text import canonical
from quotes.purchasing.purchase_plan import plan_for
from quotes.purchasing.saw_sheets import saw_pdf
from quotes.quoting.content import Content, write_content
from quotes.quoting.content_document import assemble
from quotes.quoting.models import Revision, RevisionState
from quotes.quoting.services import send
from quotes.quoting.totals import NOTHING_CHOSEN
from shared.business.actors import SYSTEM
from shared.models import Business
from tests.quotes.documents.conftest import WHEN
from tests.quotes.documents.test_layout import agreed, business_with, every_paper
from tests.quotes.quoting.cast import drafted
from tests.quotes.quoting.cast import measure as plain_measure

PLAIN = plain_measure(9000)
UNFIT = frozenset({"layout.no_room", "gate.outside", "gate.low", "taper.height", "taper.too_long", "stock.short"})
"""Sizes drawn that no fence has."""
SOILS, KINDS = ("clay", "rock", "sand"), ("timber paling", "sheet metal")
FINISHES = ("saltmarl", "fogthistle")
PARTS = ("post", "rail", "sheet", "lattice", "cap", "screw", "gate")
HEIGHTS = (1200, 1500, 1810)
GATE_MM = {"single": 1020, "wide": 1500, "double": 3000}
GROUNDS: tuple[dict[str, Any], ...] = (
    {"levels": []},
    {"levels": [[0, 0], [7000, -300]]},
    {"book": [{"backsight_m": 1.452}, {"at_mm": 0, "intermediate_m": 1.21}, {"at_mm": 7000, "foresight_m": 1.4}]},
)

Members = dict[str, Any]


def some(draw: DrawFn, **members: st.SearchStrategy[Any]) -> Members:
    """Of these members each is left out or given."""
    return {name: draw(value) for name, value in members.items() if draw(st.booleans())}


def finishes() -> st.SearchStrategy[Members]:
    return st.dictionaries(st.sampled_from(PARTS), st.sampled_from(FINISHES))


def common() -> dict[str, st.SearchStrategy[Any]]:
    """Return settings for all runs of a measure, or for one run."""
    return {
        "lattice_mm": st.sampled_from((0, 0, 340)),
        "form": st.sampled_from(("stepped", "raked", "auto")),
        "layout": st.sampled_from(("from_start", "from_end", "even", "balanced", "auto")),
        "basis": st.sampled_from(("centres", "outside_faces")),
        "soil": st.sampled_from(SOILS),
        "finishes": finishes(),
    }


@st.composite
def gates(draw: DrawFn, run: str) -> list[Members]:
    kind = draw(st.sampled_from((None, *GATE_MM)))
    gate = {"from_mm": 2500, "opening_mm": GATE_MM[kind or "single"]} | ({"kind": kind} if kind else {})
    return [
        gate
        | some(
            draw,
            id=st.just(f"{run}-east"),
            hinge_side=st.sampled_from(("left", "right")),
            swing=st.sampled_from(("in", "out")),
            height_mm=st.just(1200),
            lattice_mm=st.just(0),
            hardware=st.sampled_from(([], ["hinges"], ["hinges", "latch", "drop_bolt"])),
        )
    ]


@st.composite
def removals(draw: DrawFn) -> Members:
    return {"kind": draw(st.sampled_from(KINDS)), **some(draw, length_mm=st.integers(1, 12_000))}


@st.composite
def runs(draw: DrawFn, name: str) -> Members:
    run = {"id": name, "length_mm": draw(st.sampled_from((7000, 7640, 9000)))}
    taper = {"at": draw(st.sampled_from(("start", "end"))), "bays": draw(st.integers(1, 2)), "height_mm": 900}
    ends = st.sampled_from(("free", "corner", "wall", "join"))
    return {
        **run,
        **(draw(st.sampled_from(GROUNDS)) if draw(st.booleans()) else {}),
        **some(
            draw,
            **common(),
            height_mm=st.sampled_from(HEIGHTS),
            turn_deg=st.sampled_from((90, "-45.5", 0)),
            start=ends,
            end=ends,
            taper=st.just(taper),
            gates=gates(name),
            existing_fence=removals(),
            shares=st.sampled_from(({"owner": "1"}, {"owner": "1/3", "neighbour": "2/3"}, {"owner": "50%", "b": 0.5})),
        ),
    }


@st.composite
def retrofits(draw: DrawFn) -> Members:
    given_ = some(draw, finishes=finishes(), existing_height_mm=st.just(1500), shares=st.just({"owner": "1"}))
    return {"id": "R1", "bays_mm": [2200, 1900], "lattice_mm": 340, **given_}


STRENGTH = {"method": "given_pressure", "pressure_kpa": "0.30", "soil_class": "clay"}


@st.composite
def documents(draw: DrawFn) -> Members:
    """A measure of one or two runs, and sometimes with lattice on an existing fence."""
    names = ("A", "B")[: draw(st.sampled_from((1, 1, 2)))]
    defaults = {"height_mm": draw(st.sampled_from(HEIGHTS)), **some(draw, **common())}
    every = dict.fromkeys(("post", "rail", "sheet"), "saltmarl")  # a part without a finish can't be bought
    defaults["finishes"] = {**every, **defaults.get("finishes", {})}
    document = {
        "schema": "measure-2",
        "label": "Any measure",
        "system": "corrugated-50",
        "defaults": defaults,
        "runs": [draw(runs(name)) for name in names],
        **({"retrofits": [draw(retrofits())]} if draw(st.integers(0, 3)) == 0 else {}),
        **({"strength": STRENGTH} if draw(st.integers(0, 19)) == 13 else {}),
    }
    read: Members = check_values(document)
    return read


@pytest.fixture
def html_only(monkeypatch: pytest.MonkeyPatch) -> None:
    """Papers whose pages are not set: the bytes of each are its HTML."""

    def unset(html: str) -> Any:
        return SimpleNamespace(metadata=SimpleNamespace(attachments=[]), write_pdf=lambda **_: html.encode())

    monkeypatch.setattr(pdf_module, "_set", unset)


@pytest.fixture
def draft(db: None) -> Revision:
    """Return a draft for the customer and two other parties; each example gives it another measure in memory only."""
    business = business_with()
    names = {"owner": "Wren Sallow", "neighbour": "Fenn Alder", "b": "Moss Teal"}
    setup = {"parties": [{"key": key, "name": name} for key, name in names.items()], "default_shares": {"owner": "1"}}
    return drafted(business, setup, PLAIN)


def content_with(draft: Revision, document: Members) -> Content:
    """Return the content of the draft with another measure. Generated sizes that cannot be built are rejected."""
    draft.measure_version.document = canonical(document)
    try:
        return assemble(draft, now=WHEN)
    except InvalidDocument as refused:
        if {fault.code for fault in refused.faults} <= UNFIT:
            reject()
        raise


def papers(content: Content) -> Members:
    """Every paper set from the content of a quote, as HTML."""
    made = {party.key: quote_pdf(content, party.key).decode() for party in content.parties}
    return made | {
        kind.code: kind.in_pack(content, NOTHING_CHOSEN).decode()
        for kind in DOCUMENT_KINDS.values()
        if kind.in_pack and kind.is_needed(content, NOTHING_CHOSEN)
    }


def check_order(revision: Revision, content: Content) -> None:
    """Return the order and the saw sheet of a quote; cutting plans take most of the time."""
    [build] = content.builds
    plan = plan_for({"J": build.takeoff}, market(revision.business), [], kerf=3, digits=2)
    assert plan.chosen(None).orders
    revision.state, revision.content = RevisionState.SENT, write_content(content)
    assert saw_pdf(revision)
    revision.state, revision.content = RevisionState.DRAFT, ""


def whole_way(business: Business, document: Members) -> Iterator[tuple[str, str]]:
    """Every paper of a measure that is quoted, agreed and ordered by the services, as HTML."""
    setup = {"parties": [{"key": "owner", "name": "Wren Sallow"}], "default_shares": {"owner": "1"}}
    runs_ = [{key: value for key, value in run.items() if key != "shares"} for run in document["runs"]]
    offer = drafted(business, setup, {**document, "runs": runs_})
    revision = agreed(send(revision=offer, actor=SYSTEM, override_reason="looked at"))
    yield from ((kind, pdf.decode()) for kind, pdf in every_paper(revision))


@pytest.mark.slow
@seed(20311)
@settings(max_examples=300, phases=[Phase.generate], suppress_health_check=list(HealthCheck))
@given(document=documents(), turn=st.sampled_from(range(25)))
def test_any_valid_measure_goes_through_every_paper(
    html_only: None, draft: Revision, document: Members, turn: int
) -> None:
    content = content_with(draft, document)
    made = papers(content)
    for run in document["runs"]:
        if old := run.get("existing_fence"):
            length = old.get("length_mm", run["length_mm"])
            assert f"({old['kind']}, {length // 1000}.{length % 1000:03} m)" in made["owner"]
    check_order(draft, content)
    if turn == 13:  # one in 25 goes the whole way through the services
        with transaction.atomic():
            kinds = dict(whole_way(draft.business, document)).keys()
            assert {"quote", "set_out", "saw_sheet", "order_list"} <= kinds
            transaction.set_rollback(True)

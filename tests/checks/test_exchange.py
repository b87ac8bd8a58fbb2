"""Messages to others compared with the standards' own examples, schemas and reference library.

Sources: Standard Webhooks 1.0.0 (its test vector, read in a dozen implementations' tests; library `standardwebhooks`); OASIS
UBL 2.1 schemas (copies beside the code, unaltered); GS1 Hong Kong, Sweden and India (worked check digits); RFC 6901 section 5;
OPC 10000-8 annex C.3 (names of UN/ECE Recommendation 20 codes); ISO 4217 as published on 2026-01-01 (PyPI `iso4217`).
"""

from __future__ import annotations

from datetime import UTC, datetime
from decimal import Decimal

import pytest
from lxml import etree
from standardwebhooks.webhooks import Webhook

from catalogue.rules.codes import SALE_UNITS, is_gtin
from fencing.model.faults import extend_pointer
from quotes.integrations.ubl.order import write_order
from quotes.integrations.ubl.xml import SCHEMAS
from quotes.integrations.webhook_http import signed
from shared.common.money import minor_digits
from tests.checks.outside import Outside
from tests.quotes.integrations.test_ubl import line_of, order_of

SECRET, MESSAGE, AT, BODY = (
    "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw", "msg_p5jXN8AQM9LWM0D4loKWxJek", 1614265330, '{"test": 2432232314}',
)  # fmt: skip


def test_a_webhook_is_signed_as_the_specification_has_it(outside: Outside) -> None:
    outside(
        "signature of the test message",
        stage="exchange",
        source="Standard Webhooks 1.0.0, test vector",
        ours=signed(SECRET, MESSAGE, AT, BODY.encode()),
        theirs="v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE=",
    )
    body = '{"type": "order.despatched", "data": {"number": "PO-7"}}'
    outside(
        "signature of an order's message",
        stage="exchange",
        source="library standardwebhooks 1.1.0",
        ours=signed(SECRET, "msg_7", AT, body.encode()),
        theirs=Webhook(SECRET).sign("msg_7", datetime.fromtimestamp(AT, UTC), body),
    )


def test_an_order_is_valid_ubl(outside: Outside) -> None:
    """Against the schema as any receiver would load it, not through our own reader."""
    schema = etree.XMLSchema(etree.parse(str(SCHEMAS / "UBL-Order-2.1.xsd")))
    order = order_of((line_of(1, "Rail", Decimal(12), Decimal("18.40")), line_of(2, "Sheet", Decimal(30), Decimal(21))))
    written = etree.fromstring(write_order(order))
    outside(
        "faults of an order",
        stage="exchange",
        source="OASIS UBL 2.1, Order schema",
        ours=_faults(schema, written),
        theirs=0,
    )
    quantity = next(
        iter(written.iter("{urn:oasis:names:specification:ubl:schema:xsd:CommonBasicComponents-2}Quantity"))
    )
    quantity.text = "a dozen"
    assert _faults(schema, written) > 0


def _faults(schema: etree.XMLSchema, document: etree._Element) -> int:
    return 0 if schema.validate(document) else len(list(schema.error_log))  # type: ignore[call-overload]  # the stubs forget


@pytest.mark.parametrize(
    ("source", "number"),
    [
        ("GS1 Hong Kong, check digit calculator", "6291041500213"),
        ("GS1 Sweden, Så beräknas kontrollsiffran", "7300011000017"),
        ("GS1 India, how to calculate the check digit", "8904000210037"),
    ],
)
def test_the_check_digit_of_a_trade_item(outside: Outside, source: str, number: str) -> None:
    ours = next(digit for digit in "0123456789" if is_gtin(number[:-1] + digit))
    outside(f"check digit of {number[:-1]}", stage="exchange", source=source, ours=ours, theirs=number[-1])


@pytest.mark.parametrize(("key", "theirs"), [("a/b", "/a~1b"), ("m~n", "/m~0n"), ("", "/"), ("c%d", "/c%d")])
def test_a_fault_points_as_the_rfc_writes_it(outside: Outside, key: str, theirs: str) -> None:
    outside(
        f"pointer to member {key!r}",
        stage="exchange",
        source="RFC 6901 section 5",
        ours=extend_pointer("", key),
        theirs=theirs,
    )


@pytest.mark.parametrize(
    ("code", "theirs", "source"),
    [
        ("MTR", "metre", "OPC 10000-8, C.3"),
        ("MTK", "square metre", "OPC 10000-8, C.3"),
        ("MTQ", "cubic metre", "OPC 10000-8, C.3"),
        ("KGM", "kilogram", "UN/ECE Recommendation 20 (from memory)"),
        ("C62", "one", "UN/ECE Recommendation 20 (from memory)"),
    ],
)
def test_units_of_sale_have_their_recommended_codes(outside: Outside, code: str, theirs: str, source: str) -> None:
    outside(f"unit {code}", stage="exchange", source=source, ours=SALE_UNITS[code], theirs=theirs)


@pytest.mark.parametrize(("codes", "digits"), [("AUD NZD GBP USD EUR CHF HUF", 2), ("JPY ISK", 0), ("KWD BHD", 3)])
def test_amounts_are_sent_with_the_minor_digits_of_their_currency(outside: Outside, codes: str, digits: int) -> None:
    outside(
        f"minor digits of {codes}",
        stage="exchange",
        source="ISO 4217, published 2026-01-01",
        ours=sorted({minor_digits(code) for code in codes.split()}),
        theirs=[digits],
    )

"""Messages that a supplier sends about an order. The addresses, the events and the files of orders read this table."""

from __future__ import annotations

from quotes.integrations.messages.despatch_advice import DESPATCH
from quotes.integrations.messages.order_response import ORDER_RESPONSE

MESSAGES = (ORDER_RESPONSE, DESPATCH)

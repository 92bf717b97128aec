"""Secrets of endpoints, and what they sign; by the convention's own library."""

import base64
from datetime import UTC, datetime

from django.utils.crypto import get_random_string, salted_hmac
from standardwebhooks import Webhook

from accounts.webhooks.models import WebhookDelivery, WebhookEndpoint

_PURPOSE = "accounts.webhooks.secret"


def new_salt() -> str:
    """A salt for a secret that nobody has had before."""
    return get_random_string(40)


def secret_of(salt: str) -> str:
    """The secret that belongs to a salt, in the convention's form: `whsec_` and 32 bytes in base64."""
    digest = salted_hmac(_PURPOSE, salt, algorithm="sha256").digest()
    return f"whsec_{base64.b64encode(digest).decode()}"


def headers_of(delivery: WebhookDelivery, endpoint: WebhookEndpoint, body: str, now: datetime) -> dict[str, str]:
    """The convention's headers for a body that is sent now; a secret that was just replaced signs beside the new."""
    salts = [endpoint.salt]
    if endpoint.earlier_until is not None and now < endpoint.earlier_until:
        salts.append(endpoint.earlier_salt)
    at = now.astimezone(UTC)
    signatures = [Webhook(secret_of(salt)).sign(delivery.message_id, at, body) for salt in salts]
    return {
        "webhook-id": delivery.message_id,
        "webhook-timestamp": str(int(at.timestamp())),
        "webhook-signature": " ".join(signatures),
    }

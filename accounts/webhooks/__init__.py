"""Events out: what happens in a company is posted to the addresses that its owner registered.

Signed after the open convention Standard Webhooks (standardwebhooks.com): headers webhook-id, webhook-timestamp and
webhook-signature, secrets that begin with `whsec_`.
"""

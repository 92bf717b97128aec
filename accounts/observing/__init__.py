"""What an operator watches the server by: probes, request ids and logs."""

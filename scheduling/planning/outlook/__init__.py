"""What a policy would do over the coming months: visits, parts, money and bad water, by simulation."""

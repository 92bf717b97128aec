"""The pages of the office and the owner, at a desk."""

"""What a client sees and does: is my water good, what happens next, and how to say that something is wrong."""

"""What is worked out before a batch: preview, rehearsal, and whether the chamber is big enough."""

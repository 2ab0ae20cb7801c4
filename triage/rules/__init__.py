"""Evidence, rules and queues: what is known, what fires, and who acts."""

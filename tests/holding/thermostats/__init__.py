"""The contestants: each is told what its probes show, and answers what it has on."""
